"""The dirt of real exports, each kind a function from one table of text to another.

Dirt takes nothing away that a clean export would have said more than once: what it makes unreadable stands for readings
that were lost at the source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

BAD_TEXTS = ("Bad", "I/O Timeout", "No Data")


def bad_quality(rng: np.random.Generator, table: pa.Table, share: float) -> pa.Table:
    """Readings marked bad or questionable; most bad ones carry the last value, some none."""
    n = table.num_rows
    pick = rng.choice([0, 1, 2, 3], n, p=[1 - 3 * share, share, share, share])
    words = pa.array(["Good", "Questionable", "Bad", "Comm Fail"]).take(pick)
    return _put(table, "quality", pc.if_else(pick == 0, table["quality"], words))


def numbers_for_words(table: pa.Table) -> pa.Table:
    """The same qualities as OPC numbers, as after a change of gateway."""
    words = ("Good", "Questionable", "Bad", "Comm Fail")
    codes = pa.array(["192", "64", "0", "24"])
    return _put(table, "quality", codes.take(pc.index_in(table["quality"], value_set=pa.array(words))))


def text_in_cells(rng: np.random.Generator, table: pa.Table, columns: Sequence[str], share: float) -> pa.Table:
    """Words where numbers belong."""
    for column in columns:
        hit = rng.random(table.num_rows) < share
        words = rng.integers(0, len(BAD_TEXTS), table.num_rows)
        if hit.any():
            table = _put(table, column, pc.if_else(hit, pa.array(BAD_TEXTS).take(words), table[column]))
    return table


def gaps(rng: np.random.Generator, table: pa.Table, columns: Sequence[str], per_column: float) -> pa.Table:
    """Empty cells for some hours on end."""
    rows = np.arange(table.num_rows)
    for column in columns:
        hit = np.zeros(table.num_rows, dtype=np.bool_)
        for begin in rng.integers(0, max(table.num_rows, 1), rng.poisson(per_column)):
            hit |= (rows >= begin) & (rows < begin + rng.integers(1, 9))
        if hit.any():
            table = _put(table, column, pc.if_else(hit, None, table[column]))
    return table


def duplicated(rng: np.random.Generator, table: pa.Table, rows: int) -> pa.Table:
    """Some lines a second time, right behind themselves."""
    again = rng.choice(table.num_rows, min(rows, table.num_rows), replace=False)
    return table.take(np.sort(np.concatenate([np.arange(table.num_rows), again])))


def out_of_order(rng: np.random.Generator, table: pa.Table, blocks: int, size: int) -> pa.Table:
    """Blocks of lines that swap places with the block behind."""
    order = np.arange(table.num_rows)
    for begin in rng.integers(0, max(table.num_rows - 2 * size, 1), blocks):
        order[begin : begin + 2 * size] = np.roll(order[begin : begin + 2 * size], size)
    return table.take(order)


def late(rng: np.random.Generator, table: pa.Table, following: pa.Table, rows: int) -> tuple[pa.Table, pa.Table]:
    """Lines that miss their file and come with the next one."""
    missed = np.sort(rng.choice(table.num_rows, min(rows, table.num_rows), replace=False))
    kept = np.setdiff1d(np.arange(table.num_rows), missed)
    return table.take(kept), pa.concat_tables([table.take(missed), following])


def overlapping(table: pa.Table, following: pa.Table, rows: int) -> pa.Table:
    """The file runs on into the next one's time: its first lines are exported twice."""
    return pa.concat_tables([table, following.slice(0, rows)])


def unknown_tag(rng: np.random.Generator, table: pa.Table, tag: str, rows: int) -> pa.Table:
    """Lines of a tag that no register knows."""
    some = table.take(np.sort(rng.choice(table.num_rows, min(rows, table.num_rows), replace=False)))
    return pa.concat_tables([table, _put(some, "tag", pa.array([tag]).take(np.zeros(some.num_rows, dtype=np.int64)))])


def _put(table: pa.Table, column: str, values: pa.Array | pa.ChunkedArray) -> pa.Table:
    return table.set_column(table.column_names.index(column), column, values)
