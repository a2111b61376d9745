"""A snapshot: the store as one commit left it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import pyarrow as pa
from deltalake import DeltaTable

from condlube.store import delta
from condlube.store.ledger import Ledger
from condlube.store.predicate import Filter


class Snapshot:
    """Delta tables and ledger rows as they were valid at one commit; later writing changes nothing in it."""

    def __init__(self, root: str, ledger: Ledger, commit_id: int, versions: Mapping[str, int]) -> None:
        self.commit_id = commit_id
        self.versions = versions
        self._root = root
        self._ledger = ledger
        self._open = cache(self._open_table)

    def read(
        self, table: str, columns: Sequence[str] | None = None, filters: Sequence[Filter] | None = None
    ) -> pa.Table:
        """Rows of a Delta table, in no promised order.

        Parameters
        ----------
        columns
            Columns wanted; by default all of the table.
        filters
            ``(column, op, value)``, all of which must hold; op is one of ``= != < <= > >= in``, ``not in``. A filter on
            the table's time, date or night keeps other months' files shut.
        """
        return delta.read(self._open(table), table, columns, filters or ())

    def count_by(self, table: str, column: str) -> Counter[str]:
        """Rows of a Delta table for each value of a text column; made for tables of any size."""
        return delta.count_by(self._open(table), table, column)

    def ledger_rows(self, table: str, where: Mapping[str, Any] | None = None) -> list[dict[str, Any]]:
        """Rows of a ledger table that were committed by then."""
        return self._ledger.rows(table, where, until=self.commit_id)

    def readings_version(self) -> int:
        """The logical version of the readings: how many files have been taken in. Compaction does not change it."""
        return self._ledger.count("ingests", self.commit_id)

    def newest(self, table: str, column: str) -> Any:
        """Greatest value of a column of a ledger table; None where there is none."""
        return self._ledger.newest(table, column, self.commit_id)

    def _open_table(self, table: str) -> DeltaTable:
        return delta.open_table(f"{self._root}/{table}", table, self.versions[table])
