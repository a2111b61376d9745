"""CSV of tables with millions of rows, column by column: what ``files.csv_text`` writes row by row."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from condlube.operations.files import FORMULA_STARTS, own_part

_FORMULA = f"^([{re.escape(''.join(FORMULA_STARTS))}])"


@contextmanager
def tables_csv(path: Path, columns: Sequence[str]) -> Iterator[Callable[[Path], None]]:
    """A file at ``path`` made of Parquet files: the function given puts the columns of one below those before it.

    It is there in one step at the end, and not at all where that is not reached. Numbers have all their digits; text
    that a spreadsheet would run as a formula gets a leading apostrophe.
    """
    part = own_part(path)
    try:
        with part.open("wb") as out:
            out.write((",".join(columns) + "\r\n").encode())
            yield partial(_append, out, list(columns))
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    part.replace(path)


def _append(out: BinaryIO, columns: list[str], file: Path) -> None:
    words = [field.name for field in pq.read_schema(file) if pa.types.is_string(field.type)]
    table = pq.read_table(file, columns=columns, read_dictionary=words)
    made = pa.table([_plain(table[name]) for name in columns], names=columns)
    pcsv.write_csv(made, out, pcsv.WriteOptions(include_header=False, eol="\r\n"))


def _plain(column: pa.ChunkedArray) -> pa.ChunkedArray:
    kind = column.type
    if pa.types.is_dictionary(kind):
        chunks = [_safe(chunk.dictionary).take(chunk.indices) for chunk in column.chunks]
        return pa.chunked_array(chunks, pa.string())
    if pa.types.is_boolean(kind):
        return pc.if_else(column, "yes", "no")
    if pa.types.is_timestamp(kind):
        return pc.strftime(column.cast(pa.timestamp("s", kind.tz), safe=False), format="%Y-%m-%dT%H:%M:%SZ")
    return column


def _safe(words: pa.Array) -> pa.Array:
    safe = pc.replace_substring_regex(words, pattern=_FORMULA, replacement=r"'\1")
    return pc.if_else(pc.equal(safe, ""), None, safe)
