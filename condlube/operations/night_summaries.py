"""What a night reads of the summaries: for detection its window, for grease life all since each count began."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from typing import NamedTuple

import pandas as pd
import pyarrow as pa

from condlube.assessment.clock import USAGE_COLUMNS
from condlube.assessment.count import EVER, earliest, point_begins, since_begins
from condlube.chain import Plant
from condlube.detection.series import SUMMARY_COLUMNS
from condlube.schema.arrow import to_frame
from condlube.store import views
from condlube.store.predicate import Filter
from condlube.store.store import Snapshot

_READ = list(dict.fromkeys([*SUMMARY_COLUMNS, *USAGE_COLUMNS]))
_USAGE = list(USAGE_COLUMNS)


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
    begins = point_begins(plant.bearings, plant.points, events, plant.register.site)
    with ThreadPoolExecutor(1) as beside:  # the engine reads without the interpreter
        older = beside.submit(_older, snapshot, fresh, begins, first, known_by)
        seen = _read(snapshot, fresh, first, night, known_by, _READ)
    usage = pd.concat([*older.result(), seen[_USAGE]], ignore_index=True)
    told = since_begins(usage["point_id"], usage["date"].to_numpy(), begins)
    return Seen(seen[list(SUMMARY_COLUMNS)], usage[told].reset_index(drop=True))


def _older(
    snapshot: Snapshot, fresh: pa.Table, begins: pd.Series, first: date | None, known_by: datetime
) -> list[pd.DataFrame]:
    if first is None or not len(older := begins[begins < pd.Timestamp(first)]):
        return []
    return [_read(snapshot, fresh, earliest(older), first - timedelta(days=1), known_by, _USAGE, older.index.to_list())]


def _read(
    snapshot: Snapshot, fresh: pa.Table, first: date | None, last: date, known_by: datetime,
    columns: Sequence[str], points: Sequence[str] | None = None,
) -> pd.DataFrame:  # fmt: skip
    window: list[Filter] = [("date", "<=", last), *([("date", ">=", first)] if first else [])]
    of_points: list[Filter] = [] if points is None else [("point_id", "in", points)]
    stored = to_frame(views.summaries(snapshot, known_by, window + of_points, columns))
    new = to_frame(fresh.select(list(columns)))
    new = new[(new["date"] <= pd.Timestamp(last)) & (new["date"] >= pd.Timestamp(first or EVER))]
    if points is not None:
        new = new[new["point_id"].isin(points)]
    if new.empty:
        return stored
    key = ["point_id", "date"]
    near = stored.loc[stored["date"] >= new["date"].min(), key]
    replaced = near.index[pd.MultiIndex.from_frame(near).isin(pd.MultiIndex.from_frame(new[key]))]
    both: pd.DataFrame = pd.concat([stored.drop(index=replaced), new], ignore_index=True)
    return both
