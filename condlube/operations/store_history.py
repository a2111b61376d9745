"""The history of a site for replays: what the store holds, every version with the instant at which it became known."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from functools import cached_property

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from condlube.assessment.count import earliest, since_begins
from condlube.schema.arrow import coded, rows_to_table, to_frame
from condlube.schema.tables import TABLES
from condlube.store.layout import SEQUENCE
from condlube.store.store import Snapshot

_VERSION = ["point_id", "date", "known_at"]
"""What a version of a day's summaries is known by."""


class StoreHistory:
    """``backtest.seen.History`` of a snapshot."""

    def __init__(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot

    @cached_property
    def events(self) -> pd.DataFrame:
        """Every event on record, in order of commit."""
        return rows_to_table("events", self._snapshot.ledger_rows("events")).to_pandas()

    @cached_property
    def reviews(self) -> pd.DataFrame:
        """Every review, in order of commit."""
        return rows_to_table("reviews", self._snapshot.ledger_rows("reviews")).to_pandas()

    def summaries(
        self, first: date | pd.Series | None, last: date, known_by: datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Every version of the summaries of those dates known by an instant; of one version appended again the last."""
        wanted = list(TABLES["summaries"].columns if columns is None else columns)
        begins = earliest(first) if isinstance(first, pd.Series) else first
        window = [("date", "<=", last), ("known_at", "<=", known_by), *([("date", ">=", begins)] if begins else [])]
        read = self._snapshot.read("summaries", list(dict.fromkeys([*wanted, *_VERSION, SEQUENCE])), window)
        read = read.set_column(read.column_names.index("point_id"), "point_id", coded(read["point_id"]))
        if isinstance(first, pd.Series):
            read = read.filter(pa.array(since_begins(read["point_id"].to_pandas(), read["date"].to_numpy(), first)))
        if read.group_by(["known_at", SEQUENCE]).aggregate([]).num_rows > len(pc.unique(read["known_at"])):
            version = read.select([*_VERSION, SEQUENCE]).to_pandas()
            newest = version.groupby(_VERSION)[SEQUENCE].transform("max")
            read = read.filter(pa.array(version[SEQUENCE] == newest))
        return to_frame(read.select(wanted))
