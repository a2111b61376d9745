"""What the store holds already of the readings that a file brings."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pyarrow as pa

from condlube.acquisition.duplicates import newest
from condlube.acquisition.normalise import joined
from condlube.acquisition.output import day_spans, from_table
from condlube.store.layout import SEQUENCE
from condlube.store.writer import Writer


class Stored:
    """The committed readings, read only where an earlier file reaches into the same days."""

    def __init__(self, writer: Writer, point_ids: pa.Array) -> None:
        self._writer = writer
        self._point_ids = point_ids
        self.refresh()

    def refresh(self) -> None:
        """Take note of what was committed since."""
        self._snapshot = self._writer.snapshot()
        self._earlier = [(r["first"], r["last"]) for r in self._writer.ledger_rows("ingests") if r["stored"]]

    def like(self, readings: np.ndarray) -> np.ndarray:
        """The newest stored reading per point and time, of these points on these days."""
        parts = [
            self._read(readings, first, last)
            for first, last in day_spans(readings)
            if any(begin < last and end >= first for begin, end in self._earlier)
        ]
        return newest(joined(parts))

    def _read(self, readings: np.ndarray, first: datetime, last: datetime) -> np.ndarray:
        ids = self._point_ids.take(pa.array(np.unique(readings["point"]))).to_pylist()
        filters = [
            ("time", ">=", first),
            ("time", "<", last),
            ("point_id", ">=", min(ids)),
            ("point_id", "<=", max(ids)),
        ]
        table = self._snapshot.read("readings", ["point_id", "time", "value", "quality", SEQUENCE], filters)
        found = from_table(table.sort_by(SEQUENCE), self._point_ids)
        return found.compress(np.isin(found["point"], readings["point"]))
