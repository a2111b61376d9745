"""What a night reads of the summaries: for detection its window, for grease life all since each count began."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.assessment.clock import USAGE_COLUMNS
from condlube.assessment.count import begins_of
from condlube.chain import Plant
from condlube.detection.series import SUMMARY_COLUMNS
from condlube.store import views
from condlube.store.predicate import Filter
from condlube.store.store import Snapshot

_READ = list(dict.fromkeys([*SUMMARY_COLUMNS, *USAGE_COLUMNS]))
_USAGE = list(USAGE_COLUMNS)
_EVER = pd.Timestamp("1900-01-01")


class Seen(NamedTuple):
    """Columns ``SUMMARY_COLUMNS`` of every point, and ``USAGE_COLUMNS`` of the points that tell of a bearing."""

    summaries: pd.DataFrame
    usage: pd.DataFrame


def night_summaries(
    snapshot: Snapshot, fresh: pa.Table, plant: Plant, events: pd.DataFrame, first: date | None, night: date,
    known_by: datetime,
) -> Seen:  # fmt: skip
    """Summaries from ``first`` (None: the beginning) to ``night`` for detection; of older ones only those of points
    whose count of grease life began before. Of ``fresh``, not yet stored, a point's day replaces the stored one."""
    begins = _point_begins(plant, events)
    with ThreadPoolExecutor(1) as beside:  # the engine reads without the interpreter
        older = beside.submit(_older, snapshot, fresh, begins, first, known_by)
        seen = _read(snapshot, fresh, first, night, known_by, _READ)
    usage = pd.concat([*older.result(), seen[_USAGE]], ignore_index=True)
    begun_at = begins.reindex(usage["point_id"]).to_numpy("datetime64[us]")
    usage = usage[usage["date"].to_numpy("datetime64[us]") >= begun_at].reset_index(drop=True)
    return Seen(seen[list(SUMMARY_COLUMNS)], usage)


def _older(
    snapshot: Snapshot, fresh: pa.Table, begins: pd.Series, first: date | None, known_by: datetime
) -> list[pd.DataFrame]:
    if first is None or not len(older := begins[begins < pd.Timestamp(first)]):
        return []
    begun = None if older.min() == _EVER else older.min().date()
    return [_read(snapshot, fresh, begun, first - timedelta(days=1), known_by, _USAGE, older.index.to_list())]


def _read(
    snapshot: Snapshot, fresh: pa.Table, first: date | None, last: date, known_by: datetime,
    columns: Sequence[str], points: Sequence[str] | None = None,
) -> pd.DataFrame:  # fmt: skip
    window: list[Filter] = [("date", "<=", last), *([("date", ">=", first)] if first else [])]
    of_points: list[Filter] = [] if points is None else [("point_id", "in", points)]
    stored = views.summaries(snapshot, known_by, window + of_points, columns).to_pandas(date_as_object=False)
    new = fresh.select(list(columns)).to_pandas(date_as_object=False)
    new = new[(new["date"] <= pd.Timestamp(last)) & (new["date"] >= pd.Timestamp(first or _EVER))]
    if points is not None:
        new = new[new["point_id"].isin(points)]
    if new.empty:
        return stored
    key = ["point_id", "date"]
    near = stored.loc[stored["date"] >= new["date"].min(), key]
    replaced = near.index[pd.MultiIndex.from_frame(near).isin(pd.MultiIndex.from_frame(new[key]))]
    both: pd.DataFrame = pd.concat([stored.drop(index=replaced), new], ignore_index=True)
    return both


def _point_begins(plant: Plant, events: pd.DataFrame) -> pd.Series:
    """From when on each point's summaries tell of a count of grease life; those of a machine from its earliest."""
    begins = pd.Series(begins_of(plant.bearings, events, plant.register.site), dtype="datetime64[us]").fillna(_EVER)
    of_bearing = begins.set_axis(plant.bearings["bearing_id"])
    of_machine = begins.groupby(plant.bearings["machine_id"]).min()
    points = plant.points.drop_duplicates("point_id")
    own, shared = (
        begin.reindex(points[name]).to_numpy("datetime64[us]")
        for begin, name in ((of_bearing, "bearing_id"), (of_machine, "machine_id"))
    )
    return pd.Series(np.where(np.isnat(own), shared, own), index=points["point_id"]).dropna()
