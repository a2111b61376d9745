"""A block of lines -> a table of cells, typed where it can be, and the lines that are not such rows.

First a threaded, typed read of the whole block. Only if something in the block resists it is looked at again: a column
with text among its numbers is read as text; lines with a wrong number of fields or stray quotes are found one by one
and taken out. Whatever way a line goes, the outcome is the same; only the time it takes differs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv

from condlube.acquisition.blocks import Block
from condlube.acquisition.reasons import CODE

# The type as which each column is to be read, None where it is not needed.
Types = Sequence[pa.DataType | None]


@dataclass(frozen=True)
class Cells:
    """``columns``, by position, are float64 (null or finite), timestamp or binary; ``line`` is each row's line number.

    ``broken`` are the numbers of the lines that are no rows, ``reason`` the code of each. Blank lines are neither.
    """

    columns: dict[int, pa.ChunkedArray]
    line: np.ndarray
    broken: np.ndarray
    reason: np.ndarray


@dataclass(frozen=True)
class Dialect:
    delimiter: str
    quote: str
    decimal: str


def parse(block: Block, dialect: Dialect, types: Types) -> Cells:
    """Cells of a block whose lines should have ``len(types)`` fields."""
    nothing = np.empty(0, np.int64)
    if _is_plain(block.data, dialect):
        table = _read(block.data, dialect, types)
        if table is not None and table.num_rows == block.count:
            line = np.arange(block.first, block.first + block.count, dtype=np.int64)
            return Cells(_by_position(table), line, nothing, nothing)
    lines = block.lines
    number = np.arange(block.first, block.first + len(lines), dtype=np.int64)
    reason = _judge(lines, dialect, len(types))
    keep = np.flatnonzero(reason == 0)
    table, failed = _read_surely(lines.take(pa.array(keep)), dialect, types)
    reason[keep[failed]] = CODE["quoting"]
    broken = np.flatnonzero(reason > 0)
    good = np.flatnonzero(reason == 0)
    return Cells(_by_position(table), number[good], number[broken], reason[broken])


def _is_plain(data: bytes, dialect: Dialect) -> bool:
    """No quotes and no stray control characters: then each line gives one row or, if it is blank, none."""
    if (dialect.quote and dialect.quote.encode() in data) or b"\0" in data:
        return False
    return b"\r" not in data or data.count(b"\r") == data.count(b"\r\n")


def _judge(lines: pa.Array, dialect: Dialect, fields: int) -> np.ndarray:
    """Reason code per line: 0 for a regular row, -1 for a blank line."""
    delimiter, quote = re.escape(dialect.delimiter), re.escape(dialect.quote)
    bare = lines
    reason = np.zeros(len(lines), np.int64)
    if dialect.quote:
        quoted = pc.match_substring(lines, dialect.quote).to_numpy(zero_copy_only=False)
        if quoted.any():
            inside = f"{quote}(?:[^{quote}\\r\\n]|{quote}{quote})*{quote}"
            field = f"(?:[^{quote}{delimiter}\\r\\n]*|{inside})"
            regular = pc.match_substring_regex(lines, f"^{field}(?:{delimiter}{field})*\\r?\\n?$")
            reason[quoted & ~regular.to_numpy(zero_copy_only=False)] = CODE["quoting"]
            bare = pc.if_else(pa.array(quoted), pc.replace_substring_regex(lines, inside, ""), lines)
    found = pc.count_substring(bare, dialect.delimiter).to_numpy() + 1
    reason[(reason == 0) & (found != fields)] = CODE["field_count"]
    stray = pc.match_substring_regex(lines, "\\x00|\\r[^\\n]|\\r$").to_numpy(zero_copy_only=False)
    reason[stray] = CODE["control_character"]
    reason[pc.match_substring_regex(lines, "^[ \\t]*\\r?\\n?$").to_numpy(zero_copy_only=False)] = -1
    return reason


def _read(data: bytes | pa.Buffer, dialect: Dialect, types: Types) -> pa.Table | None:
    """Table of the lines in ``data``; None if they are not all rows of ``len(types)`` fields."""
    types = list(types)
    while True:
        names = [str(k) for k in range(len(types))]
        wanted = {name: t for name, t in zip(names, types, strict=True) if t is not None}
        try:
            table = csv.read_csv(
                pa.BufferReader(data),
                csv.ReadOptions(column_names=names, block_size=1 << 20 if len(types) < 5000 else len(data)),
                csv.ParseOptions(delimiter=dialect.delimiter, quote_char=dialect.quote or False),
                csv.ConvertOptions(
                    column_types=wanted, include_columns=list(wanted), null_values=[""], decimal_point=dialect.decimal
                ),
            )
        except pa.ArrowInvalid as error:
            column = re.search(r"In CSV column #(\d+)", str(error))
            if column is None:
                return None
            types[int(column[1])] = pa.binary()
            continue
        odd = [int(f.name) for f in table.schema if pa.types.is_floating(f.type) and not _is_finite(table[f.name])]
        if not odd:
            return table
        for k in odd:
            types[k] = pa.binary()


def _read_surely(lines: pa.Array, dialect: Dialect, types: Types) -> tuple[pa.Table, list[int]]:
    """Table of the lines that can be read, and the positions of those that cannot, found by halving."""
    whole = _read(_joined(lines), dialect, types) if len(lines) else _empty(types)
    if whole is not None and whole.num_rows == len(lines):
        return whole, []
    text = [t and pa.binary() for t in types]
    if len(lines) == 1:
        return _empty(text), [0]
    middle = len(lines) // 2
    (left, left_failed), (right, right_failed) = (
        _read_surely(part, dialect, text) for part in (lines.slice(0, middle), lines.slice(middle))
    )
    return pa.concat_tables([left, right]), left_failed + [middle + k for k in right_failed]


def _joined(lines: pa.Array) -> pa.Buffer:
    _, offsets, data = lines.buffers()
    bounds = np.frombuffer(offsets, np.int32)[[lines.offset, lines.offset + len(lines)]]
    return data.slice(int(bounds[0]), int(bounds[1] - bounds[0]))


def _is_finite(column: pa.ChunkedArray) -> bool:
    return bool(pc.all(pc.is_finite(column), skip_nulls=True).as_py() in (True, None))


def _empty(types: Types) -> pa.Table:
    return pa.table({str(k): pa.array([], t) for k, t in enumerate(types) if t is not None})


def _by_position(table: pa.Table) -> dict[int, pa.ChunkedArray]:
    return {int(name): column for name, column in zip(table.column_names, table.columns, strict=True)}
