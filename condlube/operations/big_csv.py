"""CSV of tables with millions of rows, column by column: what ``files.csv_text`` writes row by row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from condlube.operations.files import FORMULA_STARTS

_FORMULA = f"^([{re.escape(''.join(FORMULA_STARTS))}])"


def write_tables(path: Path, files: Sequence[Path], columns: Sequence[str]) -> None:
    """Put the columns of some Parquet files below each other at ``path``, in one step.

    Numbers have all their digits; text that a spreadsheet would run as a formula gets a leading apostrophe.
    """
    part = path.with_name(f".{path.name}.part")
    with part.open("wb") as out:
        out.write((",".join(columns) + "\r\n").encode())
        for file in files:
            words = [field.name for field in pq.read_schema(file) if pa.types.is_string(field.type)]
            table = pq.read_table(file, columns=list(columns), read_dictionary=words).select(list(columns))
            made = pa.table([_plain(table[name]) for name in columns], names=list(columns))
            options = pcsv.WriteOptions(include_header=False, eol="\r\n")
            pcsv.write_csv(made, out, options)
    part.replace(path)


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
