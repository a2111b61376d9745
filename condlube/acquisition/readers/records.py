"""Records whose quoted text runs over several lines, as remarks typed by people do."""

from __future__ import annotations

from condlube.acquisition.blocks import Block
from condlube.acquisition.definition import Format
from condlube.acquisition.readers.header import decode, split

# A quote that is not closed within so many lines is a stray one.
_LONGEST = 50


def joined(block: Block, form: Format, encoding: str, fields: int) -> Block:
    """The block with every such record on its first line, blank lines in the place of the others.

    Lines are joined only where that gives a record of ``fields`` fields; line breaks inside become spaces.
    """
    quote = form.quote.encode()
    if not quote or quote not in block.data:
        return block
    lines = block.data.splitlines(keepends=True)
    odd = [k for k, line in enumerate(lines) if line.count(quote) % 2]
    at = 0
    while at + 1 < len(odd):
        first, last = odd[at], odd[at + 1]
        record = b" ".join(line.rstrip(b"\r\n") for line in lines[first : last + 1])
        if last - first < _LONGEST and len(split(decode(record, encoding), form)) == fields:
            lines[first : last + 1] = [record + b"\n", *[b"\n"] * (last - first)]
            at += 2
        else:
            at += 1
    return Block(block.first, b"".join(lines))
