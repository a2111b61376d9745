"""The store: Delta tables in a folder, and the ledger that says which of their versions are valid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote
from uuid import uuid4

import sqlalchemy as sa

from condlube.errors import StoreError
from condlube.store import delta
from condlube.store.engine import sole_writer
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT
from condlube.store.ledger import Ledger, Rows
from condlube.store.lock import writer_lock
from condlube.store.snapshot import Snapshot
from condlube.store.writer import Writer

__all__ = ["Snapshot", "Store", "Writer"]


class Store:
    """One plant's store. Readers take snapshots; a writer appends and commits; people's records need no writer.

    ``is_local`` says that the tables lie in a folder of this machine, ``is_whole`` that the ledger lies there too.
    """

    def __init__(self, folder: Path | str, ledger_url: str) -> None:
        self.root = str(folder)
        self.folder = Path(folder)
        self.is_local = "://" not in self.root
        self.is_whole = not ledger_url
        self.ledger = Ledger(ledger_url or sa.URL.create("sqlite", database=str(self.folder / "ledger.sqlite")))
        if not self.is_local and self.ledger.engine.dialect.name == "sqlite":
            raise StoreError(f"{folder}: tables in object storage need a ledger in PostgreSQL; give its URL")

    @staticmethod
    def open(folder: Path | str, ledger_url: str = "") -> Store:
        """The store in ``folder``; nothing is touched yet.

        ``folder`` may also be the URL of a place in object storage that the Delta library reaches (``s3://bucket/plant``,
        credentials from the environment). Without a ledger URL the ledger is a SQLite file in the folder.
        """
        return Store(folder, ledger_url)

    def exists(self) -> bool:
        """Whether the store has been created."""
        with reported(f"opening the store {self.root}"):
            return (not self.is_local or self.folder.is_dir()) and self.ledger.exists()

    def snapshot(self, commit_id: int | None = None) -> Snapshot:
        """The store as a commit left it, by default the newest."""
        self._require()
        commit = self.ledger.commit_at(commit_id)
        return Snapshot(self.root, self.ledger, commit.commit_id, commit.versions)

    def ledger_rows(self, table: str, where: Mapping[str, Any] | None = None) -> list[dict[str, Any]]:
        """Rows of a ledger table, oldest commit first; ``where`` maps columns to a value or a list of values."""
        self._require()
        return self.ledger.rows(table, where)

    def record(self, source: str, now: datetime, rows: Rows) -> int:
        """Commit ledger rows alone and give the commit's number. Needs no writer lock: it may run beside the night."""
        self._require()
        return self.ledger.commit(source, now, rows, {}, {})

    @contextmanager
    def writer(self, timeout_s: float = 0) -> Iterator[Writer]:
        """Take the writer lock, create the store when it is absent, take back what a dead writer left behind.

        Raises
        ------
        Busy
            When another writer holds the lock for longer than ``timeout_s``.
        """
        if self.is_local and unquote(self.root) != self.root:
            raise StoreError(f"{self.root}: % and two digits mean another sign to the Delta library; rename the folder")
        if self.is_local and not self.folder.parent.is_dir():
            raise StoreError(f"{self.folder.parent}: there is no such folder; create it, or correct the store's folder")
        with ExitStack() as held:
            with reported(f"opening the store {self.root} for writing"):
                if self.is_local:
                    self.folder.mkdir(exist_ok=True)
                    held.enter_context(writer_lock(self.folder, timeout_s))
                held.enter_context(sole_writer(self.ledger.engine))
                if not self.ledger.exists():
                    self._create()
            yield Writer(self.root, self.ledger)

    def _create(self) -> None:
        """Tables first, ledger last: dying in between leaves empty tables, which the next attempt makes its own."""
        uris = {table: f"{self.root}/{table}" for table in LAYOUT}
        found = [delta.open_table(uri, table) for table, uri in uris.items() if delta.is_there(uri)]
        if any(held.version() for held in found):
            raise StoreError(
                f"{self.root}: there is data, but no ledger at {self.ledger.place}: correct the ledger's URL, or "
                "bring back the ledger from a backup with `condlube store restore`"
            )
        store_id = found[0].metadata().description if found else uuid4().hex
        for table, uri in uris.items():
            delta.create(uri, table, store_id)
        self.ledger.create(store_id, dict.fromkeys(uris, 0))

    def _require(self) -> None:
        if not self.exists():
            raise StoreError(f"{self.root}: there is no store; `condlube ingest` or `condlube nightly` creates it")
