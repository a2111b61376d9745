"""The store: Delta tables in a folder, and the ledger that says which of their versions are valid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

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

    ``is_whole`` says that the ledger lies in the folder too.
    """

    def __init__(self, folder: Path, ledger_url: str) -> None:
        self.folder = folder
        self.is_whole = not ledger_url
        self.ledger = Ledger(ledger_url or f"sqlite:///{folder / 'ledger.sqlite'}")

    @staticmethod
    def open(folder: Path, ledger_url: str = "") -> Store:
        """The store in ``folder``; nothing is touched yet. Without a URL its ledger is a SQLite file in the folder."""
        return Store(Path(folder), ledger_url)

    def exists(self) -> bool:
        """Whether the store has been created."""
        with reported(f"opening the store {self.folder}"):
            return self.folder.is_dir() and self.ledger.exists()

    def snapshot(self, commit_id: int | None = None) -> Snapshot:
        """The store as a commit left it, by default the newest."""
        self._require()
        commit = self.ledger.commit_at(commit_id)
        return Snapshot(str(self.folder), self.ledger, commit.commit_id, commit.versions)

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
        if not self.folder.parent.is_dir():
            raise StoreError(f"{self.folder.parent}: there is no such folder; create it, or correct the store's folder")
        with ExitStack() as held:
            with reported(f"opening the store {self.folder} for writing"):
                self.folder.mkdir(exist_ok=True)
                held.enter_context(writer_lock(self.folder, timeout_s))
                held.enter_context(sole_writer(self.ledger.engine))
                if not self.ledger.exists():
                    self._create()
            yield Writer(str(self.folder), self.ledger)

    def _create(self) -> None:
        """Tables first, ledger last: dying in between leaves empty tables, which the next attempt makes its own."""
        uris = {table: str(self.folder / table) for table in LAYOUT}
        found = [delta.open_table(uri, table) for table, uri in uris.items() if delta.is_there(uri)]
        if any(held.version() for held in found):
            raise StoreError(
                f"{self.folder}: there is data, but no ledger at {self.ledger.place}: correct the ledger's URL, or "
                "bring back the ledger from a backup with `condlube store restore`"
            )
        store_id = found[0].metadata().description if found else uuid4().hex
        for table, uri in uris.items():
            delta.create(uri, table, store_id)
        self.ledger.create(store_id, dict.fromkeys(uris, 0))

    def _require(self) -> None:
        if not self.exists():
            raise StoreError(f"{self.folder}: there is no store; `condlube ingest` or `condlube nightly` creates it")
