"""Summaries of the days that new readings touch: a night costs what is new, not what is stored."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.ahead import ahead
from condlube.chain import Plant, measure
from condlube.execution import map_batches
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema, from_frame
from condlube.schema.nights import as_of, midnight, nights_between
from condlube.store import views
from condlube.store.store import Snapshot

_READINGS = ("point_id", "time", "value", "quality", "known_at", "ingest_id")
_EARLIER = ("point_id", "date", "cell", "known_at", "n", "n_total", "median", "p10", "p90", "fault")
_PLANT_WIDE, _STRANGER = -1, -2


@dataclass(frozen=True)
class Fresh:
    """What has not been summarised: readings of ``ingests``, and any reading after the night ``previous``."""

    ingests: frozenset[str]
    previous: date | None
    first: date
    last: date


class _Places:
    """Machines by number, in order of their names, and the machine of every point."""

    def __init__(self, plant: Plant) -> None:
        machine = machines_of_points(plant.points, plant.bearings)
        self.machines = np.unique(machine[machine != ""].to_numpy(str))
        self.of_row = np.where(machine == "", _PLANT_WIDE, np.searchsorted(self.machines, machine.to_numpy(str)))
        self._points = pd.Index(machine.index)

    def of(self, point_ids: pd.Series) -> np.ndarray:
        """Number of the machine of each point, _PLANT_WIDE or _STRANGER."""
        label, found = pd.factorize(point_ids)
        made: np.ndarray = np.append(self.of_row, _STRANGER)[self._points.get_indexer(pd.Index(found))][label]
        return made


class _Batch(NamedTuple):
    readings: pd.DataFrame
    points: pd.DataFrame
    bearings: pd.DataFrame
    machines: np.ndarray
    days: Sequence[date]
    touched: np.ndarray  # of machine and day
    earlier: pd.DataFrame


def summarise_fresh(
    snapshot: Snapshot, plant: Plant, fresh: Fresh, known_by: datetime, policy: Policy, workers: int, batch: int
) -> pa.Table:
    """Summaries of every machine and day that ``fresh`` touches.

    Goes month by month, so that a long history needs the memory of two months of readings.
    """
    made: list[pa.Table] = [arrow_schema("summaries").empty_table()]
    places = _Places(plant)
    months = list(_months(fresh.first, fresh.last))
    found = ahead(_readings(snapshot, plant, *month, known_by, policy) for month in months)
    for (first, last), readings in zip(months, found, strict=True):
        days = [first - timedelta(days=1), *nights_between(first, last)]
        machine = places.of(readings["point_id"])
        touched = _touched(readings, machine, days, fresh, len(places.machines), plant)
        if not touched.any():
            continue
        of_day = touched.any(axis=0)
        begin = days[1 + int(of_day.argmax())] - timedelta(days=policy.summary.memory_days)
        earlier = _earlier(snapshot, made, begin, last, known_by)
        batches = _batches(readings, machine, plant, places, touched, days[1:], earlier, batch)
        made.extend(map_batches(partial(_measure, plant=plant, policy=policy), batches, workers))
    return pa.concat_tables(made)


def machines_of_points(points: pd.DataFrame, bearings: pd.DataFrame) -> pd.Series:
    """Machine of every point, by point_id; empty for plant-wide points."""
    of_bearing = bearings.set_index("bearing_id")["machine_id"]
    machine = points["machine_id"].where(points["machine_id"].notna(), points["bearing_id"].map(of_bearing))
    return pd.Series(machine.fillna("").to_numpy(object), index=points["point_id"].to_numpy(object))


def _months(first: date, last: date) -> Iterator[tuple[date, date]]:
    while first <= last:
        following = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
        yield first, min(last, following - timedelta(days=1))
        first = following


def _readings(
    snapshot: Snapshot, plant: Plant, first: date, last: date, known_by: datetime, policy: Policy
) -> pd.DataFrame:
    """Readings of the days, and of as many before them as a summary and the day before ``first`` need."""
    zone = plant.register.site.zone
    begin = midnight(first - timedelta(days=max(policy.summary.lookback_days, 1)), zone)
    found = views.readings(snapshot, as_of(last, zone), known_by, [("time", ">=", begin)], _READINGS)
    frame: pd.DataFrame = found.to_pandas()
    return frame


def _earlier(snapshot: Snapshot, made: Sequence[pa.Table], begin: date, last: date, known_by: datetime) -> pd.DataFrame:
    stored = views.summaries(snapshot, known_by, [("date", ">=", begin), ("date", "<=", last)], _EARLIER)
    recent = [table.select(list(_EARLIER)).filter(pc.field("date") >= begin) for table in made]
    both: pd.DataFrame = pa.concat_tables([stored, *recent]).to_pandas()
    return both


def _touched(
    readings: pd.DataFrame, machine: np.ndarray, days: Sequence[date], fresh: Fresh, machines: int, plant: Plant
) -> np.ndarray:
    """Machine and day, but for the first of ``days``, of every fresh reading, as a mask.

    A late reading also touches the next day, through the thermal lag; a plant-wide one touches every machine.
    """
    zone = plant.register.site.zone
    is_new = readings["ingest_id"].isin(fresh.ingests)
    if fresh.previous is not None:
        is_new |= readings["time"] >= as_of(fresh.previous, zone)
    new = (is_new & (readings["time"] >= midnight(days[0], zone))).to_numpy() & (machine != _STRANGER)
    ends = pd.DatetimeIndex([as_of(day, zone) for day in days])
    day = np.searchsorted(ends.as_unit("us").asi8, pd.DatetimeIndex(readings["time"][new]).as_unit("us").asi8, "right")
    touched = np.zeros((machines + 1, len(days)), dtype=bool)  # the last row is the plant-wide one
    touched[machine[new], day] = True
    if fresh.previous is not None:
        late = touched & (np.array(days) < fresh.previous)
        touched[:, 1:] |= late[:, :-1]
    made: np.ndarray = (touched[:-1] | touched[-1:])[:, 1:]
    return made


def _batches(
    readings: pd.DataFrame, machine: np.ndarray, plant: Plant, places: _Places, touched: np.ndarray,
    days: Sequence[date], earlier: pd.DataFrame, size: int,
) -> Iterator[_Batch]:  # fmt: skip
    of_earlier = places.of(earlier["point_id"])
    found = np.flatnonzero(touched.any(axis=1))
    for start in range(0, len(found), size):
        ours = found[start : start + size]
        shared = np.append(ours, _PLANT_WIDE)
        yield _Batch(
            readings[np.isin(machine, shared)],
            plant.points[np.isin(places.of_row, shared)],
            plant.bearings[plant.bearings["machine_id"].isin(places.machines[ours])],
            places.machines[ours],
            days,
            touched[ours],
            earlier[np.isin(of_earlier, ours)],
        )


def _measure(work: _Batch, plant: Plant, policy: Policy) -> pa.Table:
    days = [work.days[k] for k in np.flatnonzero(work.touched.any(axis=0)).tolist()]
    made = measure(work.readings, work.points, work.bearings, days, plant.register.site.zone, policy, work.earlier)
    label, found = pd.factorize(made["point_id"])
    of_point = machines_of_points(work.points, work.bearings)[found].to_numpy(str)
    machine = np.searchsorted(work.machines, of_point)[label]
    day = np.searchsorted(np.array(work.days, "datetime64[us]"), made["date"].to_numpy("datetime64[us]"))
    made = made[work.touched[machine, day]]
    return from_frame("summaries", _not_older(made, work.earlier[work.earlier["date"] >= days[0]]))


def _not_older(made: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """A version that follows a stored one is known no earlier than that, whatever its readings say."""
    if stored.empty:
        return made
    key = ["point_id", "date"]
    before = stored.groupby(key)["known_at"].max()
    dates = pd.DatetimeIndex(made["date"]).date
    known = before.reindex(pd.MultiIndex.from_arrays([made["point_id"], dates], names=key)).to_numpy()
    return made.assign(known_at=made["known_at"].where(~(made["known_at"] < known), known))
