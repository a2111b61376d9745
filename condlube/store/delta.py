"""Delta tables: create, open, append, read, put back. Nothing here knows about the ledger."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from deltalake import ColumnProperties, DeltaTable, WriterProperties, write_deltalake

from condlube.errors import StoreError
from condlube.schema.arrow import arrow_schema, conform
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT, MONTH, SEQUENCE
from condlube.store.predicate import Filter, sql

# An IN list longer than this costs the engine more than reading the span between its ends and picking afterwards.
_LONG_LIST = 200


def stored_schema(table: str) -> pa.Schema:
    """The schema as stored: the table's own columns and the two that readers do not see."""
    return arrow_schema(table).append(pa.field(MONTH, pa.string())).append(pa.field(SEQUENCE, pa.int64()))


def create(uri: str, table: str, store_id: str) -> None:
    """Create the empty table at version 0, unless it is there. ``store_id`` is written into it as its owner."""
    layout = LAYOUT[table]
    with reported(f"creating table {table}"):
        DeltaTable.create(
            uri,
            stored_schema(table),
            mode="ignore",
            partition_by=[MONTH],
            name=table,
            description=store_id,
            configuration={
                "delta.checkpointInterval": "20",
                # Readers hold versions older than the newest: logs are cleaned by upkeep alone, after its commit.
                "delta.enableExpiredLogCleanup": "false",
                "delta.dataSkippingStatsColumns": ",".join(dict.fromkeys((layout.order[0], layout.month_of))),
            },
        )


def is_there(uri: str) -> bool:
    """Whether a table has been created there."""
    return bool(DeltaTable.is_deltatable(uri))


def open_table(uri: str, table: str, version: int | None = None) -> DeltaTable:
    """The table at exactly ``version``, by default its newest."""
    with reported(f"opening table {table}" + ("" if version is None else f" at version {version}")):
        return DeltaTable(uri, version=version)


def append(delta: DeltaTable, table: str, data: pa.Table) -> None:
    """Append the rows, sorted, one file for each month that they touch. No rows: nothing happens."""
    if data.num_rows == 0:
        return
    layout = LAYOUT[table]
    data = conform(table, data, encoded=True)
    if not _in_order(data, layout.order):
        data = conform(table, data).sort_by([(name, "ascending") for name in layout.order])
    data = data.append_column(MONTH, _months(table, data[layout.month_of]))
    data = data.append_column(SEQUENCE, pa.repeat(pa.scalar(delta.version() + 1, pa.int64()), data.num_rows))
    with reported(f"appending to table {table}"):
        properties = writer_properties(table)
        write_deltalake(delta, data, mode="append", schema_mode="merge", writer_properties=properties)


def read(delta: DeltaTable, table: str, columns: Sequence[str] | None, filters: Sequence[Filter]) -> pa.Table:
    """The rows that pass all ``filters``, in no promised order; columns that this store does not have yet are null."""
    schema = stored_schema(table)
    wanted = [name for name in schema.names if name not in (MONTH, SEQUENCE)] if columns is None else list(columns)
    if unknown := {*wanted, *(name for name, _, _ in filters)} - set(schema.names):
        raise KeyError(f"{table} has no columns {sorted(unknown)}")
    long = [f for f in filters if f[1] == "in" and len(f[2]) > _LONG_LIST]
    narrow = [f for f in filters if f not in long]
    for name, _, values in long:
        narrow += [(name, ">=", min(values)), (name, "<=", max(values))]
    present = {field.name for field in delta.schema().fields}
    needed = list(dict.fromkeys([*wanted, *(name for name, _, _ in long)]))
    with reported(f"reading table {table} at version {delta.version()}"):
        scanned = delta.scan([n for n in needed if n in present], sql(narrow, LAYOUT[table].month_of))
        raw = pa.RecordBatchReader.from_stream(scanned).read_all()
    kinds = pa.schema([schema.field(name) for name in needed])
    arrays = [raw[f.name].cast(f.type) if f.name in present else pa.nulls(raw.num_rows, f.type) for f in kinds]
    found = pa.table(arrays, schema=kinds)
    for name, _, values in long:
        found = found.filter(pc.is_in(found[name], pa.array(list(values), schema.field(name).type)))
    return found.select(wanted)


def count_by(delta: DeltaTable, table: str, column: str, filters: Sequence[Filter] = ()) -> Counter[Any]:
    """Rows of each value of a column of text or dates, in memory that grows with the values alone."""
    counts: Counter[Any] = Counter()
    kind = stored_schema(table).field(column).type
    with reported(f"reading table {table} at version {delta.version()}"):
        for batch in pa.RecordBatchReader.from_stream(delta.scan([column], sql(filters, LAYOUT[table].month_of))):
            counted = batch.column(0).cast(kind).value_counts()
            counts.update(dict(zip(counted.field(0).to_pylist(), counted.field(1).to_pylist(), strict=True)))
    return counts


def replace(delta: DeltaTable, table: str, data: pa.Table, key: str) -> None:
    """Remove the rows that share a value of ``key`` with ``data`` in the months of ``data``, then append ``data``."""
    if data.num_rows == 0:
        return
    months = pc.unique(_months(table, data[LAYOUT[table].month_of])).to_pylist()
    with reported(f"removing rows from table {table}"):
        delta.delete(sql([(MONTH, "in", months), (key, "in", pc.unique(data[key]).to_pylist())], ""))
    append(delta, table, data)


def put_back(uri: str, table: str, version: int, store_id: str) -> DeltaTable:
    """The table with the content of ``version``: one that is ahead of it is restored, which makes a newer version.

    Raises
    ------
    StoreError
        When the table is behind ``version``, or belongs to another store: then ledger and folder do not belong together
        and nothing is touched.
    """
    if not is_there(uri):
        raise StoreError(
            f"{uri}: the ledger of store {store_id} names this table, but it is not there: correct the "
            "store's folder or the ledger's URL"
        )
    delta = open_table(uri, table)
    owner, newest = delta.metadata().description, delta.version()
    if owner != store_id:
        raise StoreError(f"table {table} belongs to store {owner}, the ledger to {store_id}: correct the ledger's URL")
    if newest < version:
        raise StoreError(
            f"table {table} is at version {newest}, but the ledger says {version}: the folder is older than the "
            "ledger. Bring back the folder that belongs to it, or both from one backup with `condlube store restore`"
        )
    if newest > version:
        with reported(f"putting table {table} back to version {version}"):
            restored = [
                c["operationParameters"].get("version") for c in delta.history(1) if c["operation"] == "RESTORE"
            ]
            if restored != [str(version)]:
                delta.restore(version)
    return delta


def vacuum(delta: DeltaTable, table: str, days: int) -> int:
    """Remove files that no version of the last ``days`` needs, also what killed writers left, and give their number."""
    with reported(f"removing files of table {table}"):
        return len(delta.vacuum(days * 24, dry_run=False, enforce_retention_duration=False, full=True))


def clean_log(delta: DeltaTable, table: str) -> None:
    """Fold the log up to the present version into a checkpoint, and remove its entries of more than 30 days ago."""
    with reported(f"cleaning the log of table {table}"):
        delta.create_checkpoint()
        delta.cleanup_metadata()


def writer_properties(table: str) -> WriterProperties:
    """How files are written: statistics on the columns by which rows are picked alone, the rest by the layout.

    Measured on evidence of 10,000 bearings: pages of 512 rows and LZ4 read one bearing's month in 0.6 of the time of
    large pages and Zstandard, and a whole night in half of it, for a tenth more space; a dictionary of measured numbers
    costs a third more space and time. Readings keep theirs while it is small: values rounded to one or two decimals
    need half the space with it, values of four decimals a third less without.
    """
    layout = LAYOUT[table]
    numbers = [f.name for f in arrow_schema(table) if layout.picked and pa.types.is_floating(f.type)]
    columns = {name: ColumnProperties(dictionary_enabled=False, statistics_enabled="NONE") for name in numbers}
    columns |= {name: ColumnProperties(statistics_enabled="PAGE") for name in {*layout.order, layout.month_of}}
    return WriterProperties(
        compression="LZ4_RAW" if layout.picked else "ZSTD",
        max_row_group_size=16_384 if layout.picked else 131_072,
        data_page_row_count_limit=512 if layout.picked else None,
        dictionary_page_size_limit=65_536,
        write_batch_size=512 if layout.picked else None,
        default_column_properties=ColumnProperties(statistics_enabled="NONE"),
        column_properties=columns,
    )


def force_to_disk(folder: Path, first: int, last: int) -> None:
    """Make versions ``first`` to ``last`` of a local table outlive a power cut: files, log and their folders."""
    log = folder / "_delta_log"
    entries = [log / f"{version:020}.json" for version in range(first, last + 1)]
    added = [
        folder / unquote(json.loads(line)["add"]["path"])
        for entry in entries
        for line in entry.read_text(encoding="utf-8").splitlines()
        if line.startswith('{"add"')
    ]
    to_disk([*added, *entries])


def to_disk(files: Iterable[Path]) -> None:
    """Make files and the folders that name them outlive a power cut."""
    files = list(files)
    folders = {path.parent for path in files} if os.name == "posix" else set()
    for path in [*files, *sorted(folders)]:
        handle = os.open(path, os.O_RDONLY if os.name == "posix" else os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _in_order(data: pa.Table, order: Sequence[str]) -> bool:
    """Whether the rows are sorted already, which is told much faster than done, of a dictionary by its ranks."""
    holds: pa.Array | pa.Scalar = pa.scalar(True)
    for name in reversed(order):
        values = data[name].combine_chunks()
        if pa.types.is_dictionary(values.type):
            values = pc.rank(values.dictionary, tiebreaker="dense").take(values.indices)
        earlier, later = values[:-1], values[1:]
        holds = pc.or_(pc.less(earlier, later), pc.and_(pc.equal(earlier, later), holds))
    return bool(pc.all(pc.fill_null(holds, False)).as_py())


def _months(table: str, values: pa.ChunkedArray) -> pa.Array:
    """YYYY-MM of each date or instant."""
    if values.null_count:
        raise ValueError(f"{table}: {LAYOUT[table].month_of} must not be null")
    dates = values.to_numpy()
    months = np.arange(dates.min().astype("datetime64[M]"), dates.max().astype("datetime64[M]") + 1)
    codes = np.searchsorted(months[1:].astype(dates.dtype), dates, side="right").astype(np.int32)
    return pa.DictionaryArray.from_arrays(codes, months.astype(str)).cast(pa.string())
