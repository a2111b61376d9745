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
    reason = _judge(block, dialect, len(types))
    number = np.arange(block.first, block.first + len(reason), dtype=np.int64)
    keep = np.flatnonzero(reason == 0)
    table, failed = _read_surely(block.lines.take(pa.array(keep)), dialect, types)
    reason[keep[failed]] = CODE["quoting"]
    broken = np.flatnonzero(reason > 0)
    good = np.flatnonzero(reason == 0)
    return Cells(_by_position(table), number[good], number[broken], reason[broken])


def _is_plain(data: bytes, dialect: Dialect) -> bool:
    """No quotes and no stray control characters: then each line gives one row or, if it is blank, none."""
    if (dialect.quote and dialect.quote.encode() in data) or b"\0" in data:
        return False
    return b"\r" not in data or data.count(b"\r") == data.count(b"\r\n")


def _judge(block: Block, dialect: Dialect, fields: int) -> np.ndarray:
    """Reason code per line: 0 for a regular row, -1 for a blank line.

    All lines are judged by the places of single bytes; only lines with quotes, or that begin with white space, are
    looked at as text.
    """
    data = np.frombuffer(block.data, np.uint8)
    begin = data[block.starts[:-1]]
    reason = np.zeros(len(begin), np.int8)
    found = np.diff(np.searchsorted(_places(block, dialect.delimiter), block.starts)) + 1
    if dialect.quote and len(quotes := _places(block, dialect.quote)):
        quoted = _lines_of(block, quotes)
        regular, found[quoted] = _quoted(block.lines.take(pa.array(quoted)), dialect)
        reason[quoted[~regular]] = CODE["quoting"]
    reason[(reason == 0) & (found != fields)] = CODE["field_count"]
    returns = _places(block, "\r")
    lone = returns[data[np.minimum(returns + 1, len(data) - 1)] != ord("\n")]
    reason[_lines_of(block, np.concatenate([_places(block, "\0"), lone]))] = CODE["control_character"]
    white = np.flatnonzero(np.isin(begin, np.frombuffer(b" \t\r\n", np.uint8)))
    blank = pc.match_substring_regex(block.lines.take(pa.array(white)), "^[ \\t]*\\r?\\n?$")
    reason[white[blank.to_numpy(zero_copy_only=False)]] = -1
    return reason


def _places(block: Block, character: str) -> np.ndarray:
    """Where the data hold this byte; that they do not is told much faster than by comparing each."""
    if character.encode() not in block.data:
        return np.empty(0, np.int64)
    return np.flatnonzero(np.frombuffer(block.data, np.uint8) == ord(character))


def _lines_of(block: Block, places: np.ndarray) -> np.ndarray:
    """Positions of the lines that hold these bytes, each once."""
    return np.unique(np.searchsorted(block.starts, places, side="right") - 1)


def _quoted(lines: pa.Array, dialect: Dialect) -> tuple[np.ndarray, np.ndarray]:
    """Whether the quotes of each line open and close around whole fields, and how many fields it has."""
    delimiter, quote = re.escape(dialect.delimiter), re.escape(dialect.quote)
    inside = f"{quote}(?:[^{quote}\\r\\n]|{quote}{quote})*{quote}"
    field = f"(?:[^{quote}{delimiter}\\r\\n]*|{inside})"
    regular = pc.match_substring_regex(lines, f"^{field}(?:{delimiter}{field})*\\r?\\n?$")
    bare = pc.replace_substring_regex(lines, inside, "")
    return regular.to_numpy(zero_copy_only=False), pc.count_substring(bare, dialect.delimiter).to_numpy() + 1


def _read(data: bytes | pa.Buffer, dialect: Dialect, types: Types) -> pa.Table | None:
    """Table of the lines in ``data``; None if they are not all rows of ``len(types)`` fields."""
    types = list(types)
    while True:
        try:
            table = _read_as(data, dialect, types)
        except pa.ArrowInvalid as error:
            column = re.search(r"In CSV column #(\d+)", str(error))
            if column is None:
                return None
            for k in {int(column[1]), *_texts(data, dialect, types)}:
                types[k] = pa.binary()
            continue
        odd = _not_finite({f.name: table[f.name] for f in table.schema if pa.types.is_floating(f.type)})
        if not odd:
            return table
        for name in odd:
            types[int(name)] = pa.binary()


def _read_as(data: bytes | pa.Buffer, dialect: Dialect, types: Types) -> pa.Table:
    """Table of the columns that have a type; raises ``ArrowInvalid`` at the first cell that is not of its type."""
    names = [str(k) for k in range(len(types))]
    wanted = {name: t for name, t in zip(names, types, strict=True) if t is not None}
    return csv.read_csv(
        pa.BufferReader(data),
        csv.ReadOptions(column_names=names, block_size=max(1 << 20, len(types) << 11)),
        csv.ParseOptions(delimiter=dialect.delimiter, quote_char=dialect.quote or False),
        csv.ConvertOptions(
            column_types=wanted, include_columns=list(wanted), null_values=[""], decimal_point=dialect.decimal
        ),
    )


def _texts(data: bytes | pa.Buffer, dialect: Dialect, types: Types) -> list[int]:
    """Columns wanted as numbers that hold text, by one look; a cell with blanks around its number may count as text."""
    floats = [k for k, t in enumerate(types) if t is not None and pa.types.is_floating(t)]
    if len(floats) < 2:
        return []
    try:
        table = _read_as(data, dialect, [pa.binary() if k in set(floats) else None for k in range(len(types))])
    except pa.ArrowInvalid:
        return []
    found = []
    for k in floats:
        cells = pc.if_else(pc.equal(table[str(k)], b""), None, table[str(k)])
        try:
            pc.replace_substring(cells, dialect.decimal.encode(), b".").cast(pa.string()).cast(pa.float64())
        except pa.ArrowInvalid:
            found.append(k)
    return found


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


def _not_finite(numbers: dict[str, pa.ChunkedArray]) -> list[str]:
    """Names of the columns that hold infinity or NaN; of thousands of columns all are looked at in one call first."""
    together = pa.chunked_array([chunk for column in numbers.values() for chunk in column.chunks], pa.float64())
    if _is_finite(together):
        return []
    return [name for name, column in numbers.items() if not _is_finite(column)]


def _is_finite(column: pa.ChunkedArray) -> bool:
    return bool(pc.all(pc.is_finite(column), skip_nulls=True).as_py() in (True, None))


def _empty(types: Types) -> pa.Table:
    return pa.table({str(k): pa.array([], t) for k, t in enumerate(types) if t is not None})


def _by_position(table: pa.Table) -> dict[int, pa.ChunkedArray]:
    return {int(name): column for name, column in zip(table.column_names, table.columns, strict=True)}
