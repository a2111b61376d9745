"""Use cases: what a person or a scheduler asks condlube to do."""
