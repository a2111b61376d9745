"""What a store holds: rows, span, size, last night."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from condlube.store.delta import open_table
from condlube.store.layout import LAYOUT, MONTH
from condlube.store.store import Store
from condlube.store.views import run_of


@dataclass(frozen=True)
class TableStatus:
    """One Delta table as it is valid now: its version, rows, files and their bytes, and its first and last month."""

    table: str
    version: int
    rows: int
    files: int
    bytes: int
    first_month: str | None
    last_month: str | None


@dataclass(frozen=True)
class StoreStatus:
    """The store as it is valid now. ``bytes_on_disk`` counts also what only older versions still need."""

    folder: str
    ledger: str
    commit_id: int
    committed_at: datetime
    tables: tuple[TableStatus, ...]
    ingests: int
    runs: int
    events: int
    reviews: int
    first_reading: datetime | None
    last_reading: datetime | None
    last_night: date | None
    bytes_on_disk: int | None


def status(store: Store) -> StoreStatus:
    """Read from the ledger and the tables' logs alone, so it costs little on a store of any size."""
    snapshot = store.snapshot()
    commit = snapshot.ledger_rows("commits")[-1]
    ingests = snapshot.ledger_rows("ingests")
    newest = run_of(snapshot)
    return StoreStatus(
        folder=store.root,
        ledger=store.ledger.place,
        commit_id=snapshot.commit_id,
        committed_at=commit["committed_at"],
        tables=tuple(_table(f"{store.root}/{table}", table, snapshot.versions[table]) for table in LAYOUT),
        ingests=len(ingests),
        runs=len(snapshot.ledger_rows("runs")),
        events=len(snapshot.ledger_rows("events")),
        reviews=len(snapshot.ledger_rows("reviews")),
        first_reading=min((row["first"] for row in ingests if row["first"]), default=None),
        last_reading=max((row["last"] for row in ingests if row["last"]), default=None),
        last_night=newest["night"] if newest else None,
        bytes_on_disk=_size(store.folder) if store.is_local else None,
    )


def _table(uri: str, table: str, version: int) -> TableStatus:
    files = pa.table(open_table(uri, table, version).get_add_actions(flatten=True))
    months = pc.min_max(files[f"partition.{MONTH}"]).as_py() if files.num_rows else {"min": None, "max": None}
    return TableStatus(
        table,
        version,
        rows=pc.sum(files["num_records"]).as_py() or 0,
        files=files.num_rows,
        bytes=pc.sum(files["size_bytes"]).as_py() or 0,
        first_month=months["min"],
        last_month=months["max"],
    )


def _size(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
