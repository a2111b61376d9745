"""New rows of the table ``expected``, each written once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from condlube.detection.begins import EPOCH
from condlube.schema.arrow import arrow_schema
from condlube.schema.nights import midnight


class ExpectedRows:
    """Collects the states that references reach, skipping what is known already."""

    def __init__(self, ids: Sequence[str], known: pd.DataFrame, zone: ZoneInfo) -> None:
        self.ids, self.zone, self.known = ids, zone, known
        begun = pd.DatetimeIndex(known["reference_from"]).as_unit("us").asi8.tolist()
        points, states = (known[c].to_numpy(dtype=object) for c in ("point_id", "reference_state"))
        self.emitted = set(zip(points, begun, states, strict=True))
        self.rows: list[dict[str, Any]] = []
        self.midnights: dict[int, pd.Timestamp] = {}

    def instant(self, day: int) -> pd.Timestamp:
        """The local midnight that begins a day."""
        if day not in self.midnights:
            self.midnights[day] = pd.Timestamp(midnight(date.fromordinal(day + EPOCH), self.zone))
        return self.midnights[day]

    def end(self, p: int, from_: pd.Timestamp, ended: str, day: int, known_at: pd.Timestamp | None) -> None:
        """Note that a reference or a period ended on a day."""
        self.emit(p, from_, "ended", day, known_at, reference_until=self.instant(day), ended=ended)

    def emit(
        self, p: int, from_: pd.Timestamp, state: str, day: int, known_at: pd.Timestamp | None, **columns: Any
    ) -> None:
        """Note the state that the period of point ``p`` reached on a day; known when the day had closed, or later."""
        key = self.ids[p], from_.value // 1000, state
        if key in self.emitted:
            return
        self.emitted.add(key)
        closed = self.instant(day + 1)
        self.rows.append({
            "point_id": self.ids[p], "reference_from": from_, "reference_state": state,
            "known_at": closed if known_at is None or pd.isna(known_at) else max(closed, known_at), **columns,
        })  # fmt: skip

    def table(self) -> pd.DataFrame:
        """The new rows."""
        names = arrow_schema("expected").names
        if not self.rows:
            return self.known.iloc[:0].reindex(columns=names)
        return pd.DataFrame(self.rows, columns=names)
