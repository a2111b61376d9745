"""Whether everything that the ledger calls valid is there, can be read, and adds up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import unquote

import pyarrow as pa
import pyarrow.parquet as pq
from deltalake import DeltaTable

from condlube.errors import StoreError
from condlube.store.delta import open_table
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT
from condlube.store.snapshot import Snapshot
from condlube.store.store import Store


def faults(store: Store, on_file: Callable[[str], None] = lambda file: None) -> list[str]:
    """One line for everything that is wrong; an empty list says that all of the newest commit is sound.

    Reads every file to its last byte. ``on_file`` is told of each before it is read.
    """
    snapshot = store.snapshot()
    damaged = list(_files(store, snapshot, on_file))
    return [*store.ledger.damage(), *damaged, *([] if damaged else [*_accounts(snapshot), *_runs(snapshot)])]


def _files(store: Store, snapshot: Snapshot, on_file: Callable[[str], None]) -> Iterator[str]:
    for table in LAYOUT:
        try:
            delta = open_table(f"{store.root}/{table}", table, snapshot.versions[table])
        except StoreError as error:
            yield str(error)
            continue
        if not store.is_local:
            on_file(delta.table_uri)
            yield from _remote(delta, table)
            continue
        for path in (Path(unquote(uri)) for uri in delta.file_uris()):
            on_file(str(path))
            yield from _file(path)


def _file(path: Path) -> Iterator[str]:
    try:
        with pq.ParquetFile(path) as file:
            for _ in file.iter_batches():
                pass
    except FileNotFoundError:
        yield f"{path}: is missing"
    except (OSError, pa.ArrowException) as error:
        yield f"{path}: cannot be read ({str(error).splitlines()[0]})"


def _remote(delta: DeltaTable, table: str) -> Iterator[str]:
    try:
        with reported(f"reading table {table}"):
            for _ in pa.RecordBatchReader.from_stream(delta.scan()):
                pass
    except StoreError as error:
        yield str(error)


def _accounts(snapshot: Snapshot) -> Iterator[str]:
    """Lines = stored + duplicate + rejected for every ingest, and what it stored and rejected is in the tables."""
    held = {"readings": snapshot.count_by("readings", "ingest_id"), "rejects": _rejected(snapshot)}
    for row in snapshot.ledger_rows("ingests"):
        name = f"ingest {row['ingest_id']} of {row['file']}"
        if None not in (row["lines"], row["stored"], row["duplicate"], row["rejected"]):
            parts = row["stored"] + row["duplicate"] + row["rejected"]
            if parts != row["lines"]:
                yield f"{name}: {row['lines']} lines, but stored, duplicate and rejected are {parts}"
        readings, rejects = (held[table].pop(row["ingest_id"], 0) for table in ("readings", "rejects"))
        if row["stored"] not in (None, readings):
            yield f"{name}: {row['stored']} readings by the ledger, {readings} in the table"
        # One reject may stand for a whole line of a wide export, which counts as many.
        if row["rejected"] is not None and not (row["rejected"] > 0) <= rejects <= row["rejected"]:
            yield f"{name}: {row['rejected']} lines rejected by the ledger, {rejects} rows in the table"
    for table, rest in held.items():
        for ingest_id, count in sorted(rest.items(), key=str):
            yield f"table {table}: {count} rows of ingest {ingest_id}, which the ledger does not know"


def _rejected(snapshot: Snapshot) -> Counter[str]:
    """Rejected lines of every ingest: a row of rejects may stand for several."""
    found = snapshot.read("rejects", ["ingest_id", "repeats"])
    counts: Counter[str] = Counter()
    for ingest_id, repeats in zip(found["ingest_id"].to_pylist(), found["repeats"].to_pylist(), strict=True):
        counts[ingest_id] += 1 if repeats is None else repeats
    return counts


def _runs(snapshot: Snapshot) -> Iterator[str]:
    known = {row["run_id"] for row in snapshot.ledger_rows("runs")}
    decided, shown = (set(snapshot.count_by(table, "run_id")) for table in ("decisions", "evidence"))
    for run_id in sorted(known - decided):
        yield f"run {run_id}: no decision in the table"
    for table, ids in (("decisions", decided), ("evidence", shown)):
        for run_id in sorted(ids - known):
            yield f"table {table}: rows of run {run_id}, which the ledger does not know"
