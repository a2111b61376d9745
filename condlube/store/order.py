"""Rewriting a month of a Delta table: few files, each sorted, in memory that does not grow with the month.

A Z-order of the Delta engine would not do: of a text key it weighs the first 16 bytes alone, and the ids of one plant
often begin alike. A plain sort prunes as well for the one key that is asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date

import pyarrow as pa
from deltalake import DeltaTable, write_deltalake

from condlube.store.delta import count_by, open_table, read, stored_schema, writer_properties
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT, MONTH, SEQUENCE
from condlube.store.predicate import sql

# Cells, rows times columns, sorted at a time: some hundred megabytes with their copies.
_CELLS = 8_000_000
# One night of a table whose files are cut by date is read out of so many cells.
_NIGHTS_CELLS = 2_500_000
# Files of a month that may lie across each other before rewriting it is worth while: late rows come a few a night.
_FEW = 4
Key = str | date


def months(delta: DeltaTable, table: str) -> list[str]:
    """The months that the table holds, oldest first."""
    with reported(f"listing the months of table {table}"):
        return sorted({str(part[MONTH]) for part in delta.partitions()})


def disordered(delta: DeltaTable, table: str) -> list[str]:
    """Months of which more than a few files span each other's keys, beside those that must."""
    key = LAYOUT[table].order[0]
    columns = [f"partition.{MONTH}", f"min.{key}", f"max.{key}", "num_records"]
    files = pa.table(delta.get_add_actions(flatten=True)).select(columns)
    across, rows = Counter[str](), Counter[str]()
    reach: dict[str, str] = {}
    for month, low, high, count in sorted(zip(*(column.to_pylist() for column in files.columns), strict=True)):
        across[month] += low < reach.get(month, low)
        reach[month] = max(high, reach.get(month, high))
        rows[month] += count
    must = {month: count // _portion(table) if LAYOUT[table].by_date else 0 for month, count in rows.items()}
    return [month for month, count in sorted(across.items()) if count > _FEW + must[month]]


def rewrite(
    delta: DeltaTable, table: str, month: str, keep: Callable[[pa.Table], pa.Table] = lambda rows: rows
) -> None:
    """Rewrite one month in order, with the rows that ``keep`` gives back of each portion.

    The engine commits several times on the way; only the ledger's commit afterwards makes the outcome valid, and a
    process that dies before it is healed like any other.
    """
    names = stored_schema(table).names
    order = [(name, "ascending") for name in (*LAYOUT[table].order, SEQUENCE)]
    key = LAYOUT[table].cut
    before = open_table(delta.table_uri, table, delta.version())
    spans = list(_spans(before, table, month))
    with reported(f"rewriting {month} of table {table}"):
        delta.delete(sql([(MONTH, "=", month)], ""))
        for low, high in spans:
            rows = keep(read(before, table, names, [(MONTH, "=", month), (key, ">=", low), (key, "<=", high)]))
            if rows.num_rows:
                properties = writer_properties(table)
                write_deltalake(delta, rows.sort_by(order), mode="append", writer_properties=properties)


def _portion(table: str) -> int:
    """Rows sorted at a time, which become one file."""
    return (_NIGHTS_CELLS if LAYOUT[table].by_date else _CELLS) // len(stored_schema(table))


def _spans(delta: DeltaTable, table: str, month: str) -> Iterator[tuple[Key, Key]]:
    """First and last key of portions of about equal size; every key lies in one of them."""
    key = LAYOUT[table].cut
    portion = _portion(table)
    counts = count_by(delta, table, key, [(MONTH, "=", month)])
    low, held = None, 0
    for name in sorted(counts):
        low = name if low is None else low
        held += counts[name]
        if held >= portion:
            yield low, name
            low, held = None, 0
    if low is not None:
        yield low, name
