"""The writer: appends to Delta tables, made valid together by one ledger commit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import pyarrow as pa
from deltalake import DeltaTable

from condlube.errors import StoreError
from condlube.store import delta
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT
from condlube.store.ledger import Ledger, Rows
from condlube.store.snapshot import Snapshot

T = TypeVar("T")


class Writer:
    """What the holder of the writer lock can do. Nothing that it writes is visible before ``commit``.

    What it reads is what is committed, never its own pending rows. After an error nothing but ``heal`` is accepted, so
    that a half-made append is never committed with the next one.
    """

    def __init__(self, root: str, ledger: Ledger) -> None:
        self._root = root
        self._ledger = ledger
        self._store_id = str(ledger.rows("stores")[0]["store_id"])
        self._tables: dict[str, DeltaTable] = {}
        self.heal()

    def heal(self) -> None:
        """Take back what was appended and not committed, by this writer or by one that died."""
        self._failed = True
        self._base = self._ledger.commit_at().versions
        self._tables = {t: delta.put_back(self._uri(t), t, self._base[t], self._store_id) for t in LAYOUT}
        self._ledger.migrate(self._tables)
        self._base = self._ledger.commit_at().versions
        self._started = {table: held.version() for table, held in self._tables.items()}
        self._failed = False

    def snapshot(self) -> Snapshot:
        """What is committed by now."""
        commit = self._ledger.commit_at()
        return Snapshot(self._root, self._ledger, commit.commit_id, commit.versions)

    def ledger_rows(self, table: str, where: Mapping[str, Any] | None = None) -> list[dict[str, Any]]:
        """Rows of a ledger table that are committed by now."""
        return self._ledger.rows(table, where)

    def append(self, table: str, data: pa.Table) -> None:
        """Append rows to a Delta table. No rows: nothing happens."""
        self.apply(delta.append, table, data)

    def replace(self, table: str, data: pa.Table, key: str) -> None:
        """Append rows in place of all earlier ones, of the same months, that share a value of ``key`` with them."""
        self.apply(delta.replace, table, data, key)

    def apply(self, act: Callable[..., T], table: str, *arguments: Any) -> T:
        """Let ``act(delta_table, table, *arguments)`` change a Delta table, and give what it returns."""
        self._refuse_if_failed()
        self._failed = True
        result = act(self._tables[table], table, *arguments)
        self._failed = False
        return result

    def commit(self, source: str, now: datetime, ledger: Rows | None = None) -> int:
        """Make everything appended since the last commit valid, together with the ledger rows, and give its number.

        Parameters
        ----------
        source
            What is committed, for people who read the ledger.
        now
            Time of the commit, with its zone; fills ``committed_at``.
        ledger
            Rows by ledger table.
        """
        self._refuse_if_failed()
        self._failed = True
        made = {t: held.version() for t, held in self._tables.items() if held.version() != self._started[t]}
        if "://" not in self._root:
            with reported("forcing the appended files to disk"):
                for table, version in made.items():
                    delta.force_to_disk(Path(self._uri(table)), self._base[table] + 1, version)
        commit_id = self._ledger.commit(source, now, ledger or {}, self._base, made)
        self._base = {**self._base, **made}
        self._started.update(made)
        self._failed = False
        return commit_id

    def _refuse_if_failed(self) -> None:
        if self._failed:
            raise StoreError("the writer stopped at an earlier error: heal it before writing on")

    def _uri(self, table: str) -> str:
        return f"{self._root}/{table}"
