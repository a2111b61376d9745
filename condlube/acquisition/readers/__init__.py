"""Named readers: each turns blocks of lines of one layout into rows, one reading each."""
