"""What a library says when the store fails, told as something that the user can act on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import pyarrow as pa
from deltalake.exceptions import DeltaError
from sqlalchemy.exc import SQLAlchemyError

from condlube.errors import StoreError

_SAFE = "nothing that was committed is lost"
_RESTORE = "bring it back from a backup with `condlube store restore`"
# What libraries and operating systems say -> what it means here; the first that matches holds.
_MEANINGS = (
    (r"no space left|os error 28\b|database or disk is full|disk quota|os error 122\b|file too large|os error 27\b",
     f"the disk is full. Free some space and run again: {_SAFE}"),
    (r"disk i/o error",
     f"the disk is full or failing. Look at its free space first, then run again: {_SAFE}"),
    (r"readonly database",
     "the ledger cannot be written. Give the user that runs condlube the right to write its folder, and see that the "
     f"disk is not full: {_SAFE}"),
    (r"permission denied|read-?only file system|os error (13|30)\b|operation not permitted",
     f"permission denied. Give the user that runs condlube the right to read and write the folder: {_SAFE}"),
    (r"database is locked|database table is locked|lock timeout|canceling statement due to lock",
     "another process has kept the ledger locked for more than 30 s. Run again when it has ended"),
    (r"file is not a database|malformed|database corruption",
     f"the ledger is damaged. Keep the files as they are and {_RESTORE}"),
    (r"no such file|not found|os error 2\b|does ?n[o']t exist|failed to resolve",
     f"a file of the store is missing. `condlube store status --check` names it; {_RESTORE}"),
    (r"parquet|corrupt footer|invalid footer|magic",
     f"a data file is damaged. `condlube store status --check` names every damaged file; {_RESTORE}"),
    (r"connection (refused|failed|timed out|reset)|could not connect|server closed|terminating connection|"
     r"could not translate host|failed to resolve host|connection is (bad|lost)",
     f"the ledger's database cannot be reached. Start it or correct the URL and run again: {_SAFE}"),
    (r"password authentication|no password supplied|role .* does not exist|database .* does not exist",
     "the ledger's database refuses the user. Correct user, password or database name in the ledger's URL"),
)  # fmt: skip


@contextmanager
def reported(doing: str) -> Iterator[None]:
    """Turn what files, Delta tables and the ledger raise into a ``StoreError`` that says what failed and what to do."""
    try:
        yield
    except (OSError, DeltaError, pa.ArrowException, SQLAlchemyError) as error:
        raise StoreError(f"{doing}: {_meaning(error)}") from error


def _meaning(error: Exception) -> str:
    # SQLAlchemy appends statement and parameters to its text: the driver's own words are in `orig`.
    said = str(getattr(error, "orig", None) or error).strip()
    for pattern, meaning in _MEANINGS:
        if re.search(pattern, said, re.IGNORECASE):
            return f"{meaning} ({said.splitlines()[0][:500]})"
    return said
