"""Summaries of the days that new readings touch: a night costs what is new, not what is stored."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import NamedTuple

import pandas as pd
import pyarrow as pa

from condlube.chain import Plant, measure
from condlube.execution import map_batches
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema, from_frame
from condlube.schema.nights import as_of, midnight
from condlube.store import views
from condlube.store.store import Snapshot

_READINGS = ("point_id", "time", "value", "quality", "known_at", "ingest_id")
_EARLIER = ("point_id", "date", "cell", "known_at", "n", "n_total", "median", "p10", "p90", "fault")


@dataclass(frozen=True)
class Fresh:
    """What has not been summarised: readings of ``ingests``, and any reading after the night ``previous``."""

    ingests: frozenset[str]
    previous: date | None
    first: date
    last: date


class _Batch(NamedTuple):
    readings: pd.DataFrame
    points: pd.DataFrame
    bearings: pd.DataFrame
    touched: pd.DataFrame
    earlier: pd.DataFrame


def summarise_fresh(
    snapshot: Snapshot, plant: Plant, fresh: Fresh, known_by: datetime, policy: Policy, workers: int, batch: int
) -> pa.Table:
    """Summaries of every machine and day that ``fresh`` touches.

    Goes month by month, so that a long history needs the memory of one month of readings.
    """
    made: list[pa.Table] = [arrow_schema("summaries").empty_table()]
    machine_of = machines_of_points(plant.points, plant.bearings)
    for first, last in _months(fresh.first, fresh.last):
        readings = _readings(snapshot, plant, first, last, known_by, policy)
        touched = _touched(readings, machine_of, fresh, first, last, plant)
        if touched.empty:
            continue
        earlier = _earlier(snapshot, made, touched["date"].min().date(), known_by, policy)
        batches = _batches(readings, plant, machine_of, touched, earlier, batch)
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
    zone = plant.register.site.zone
    begin = midnight(first - timedelta(days=policy.summary.lookback_days), zone)
    found = views.readings(snapshot, as_of(last, zone), known_by, [("time", ">=", begin)], _READINGS)
    frame: pd.DataFrame = found.to_pandas()
    return frame


def _earlier(
    snapshot: Snapshot, made: Sequence[pa.Table], first: date, known_by: datetime, policy: Policy
) -> pd.DataFrame:
    begin = first - timedelta(days=policy.summary.memory_days)
    stored = views.summaries(snapshot, known_by, [("date", ">=", begin), ("date", "<", first)], _EARLIER)
    recent = pa.concat_tables(made).select(list(_EARLIER)).to_pandas()
    both: pd.DataFrame = pd.concat([stored.to_pandas(), recent[recent["date"] >= begin]], ignore_index=True)
    return both


def _touched(
    readings: pd.DataFrame, machine_of: pd.Series, fresh: Fresh, first: date, last: date, plant: Plant
) -> pd.DataFrame:
    """Machine and day of every fresh reading; a late one also touches the next day, through the thermal lag."""
    zone = plant.register.site.zone
    new = readings["ingest_id"].isin(fresh.ingests)
    if fresh.previous is not None:
        new |= readings["time"] >= as_of(fresh.previous, zone)
    found = readings.loc[new & (readings["time"] >= midnight(first, zone)), ["point_id", "time"]]
    days = found["time"].dt.tz_convert(zone).dt.tz_localize(None).dt.normalize()
    touched = pd.DataFrame({"machine_id": found["point_id"].map(machine_of).to_numpy(object), "date": days.to_numpy()})
    touched = touched.dropna().drop_duplicates()
    if fresh.previous is not None:
        late = touched[touched["date"] < pd.Timestamp(fresh.previous)]
        touched = pd.concat([touched, late.assign(date=late["date"] + pd.Timedelta(days=1))])
    everywhere = touched.loc[touched["machine_id"] == "", ["date"]]
    machines = pd.DataFrame({"machine_id": sorted(set(machine_of) - {""})})
    touched = pd.concat([touched, machines.merge(everywhere, how="cross")]).drop_duplicates()
    return touched[(touched["machine_id"] != "") & (touched["date"] <= pd.Timestamp(last))]


def _batches(
    readings: pd.DataFrame, plant: Plant, machine_of: pd.Series, touched: pd.DataFrame, earlier: pd.DataFrame, size: int
) -> Iterator[_Batch]:
    machine = {
        "readings": readings["point_id"].map(machine_of),
        "points": plant.points["point_id"].map(machine_of),
        "earlier": earlier["point_id"].map(machine_of),
    }
    names = sorted(set(touched["machine_id"]))
    for start in range(0, len(names), size):
        ours = set(names[start : start + size])
        yield _Batch(
            readings[machine["readings"].isin(ours | {""})],
            plant.points[machine["points"].isin(ours | {""})],
            plant.bearings[plant.bearings["machine_id"].isin(ours)],
            touched[touched["machine_id"].isin(ours)],
            earlier[machine["earlier"].isin(ours)],
        )


def _measure(work: _Batch, plant: Plant, policy: Policy) -> pa.Table:
    days = sorted(day.date() for day in work.touched["date"].unique())
    made = measure(work.readings, work.points, work.bearings, days, plant.register.site.zone, policy, work.earlier)
    keys = pd.MultiIndex.from_frame(work.touched[["machine_id", "date"]])
    machine = made["point_id"].map(machines_of_points(work.points, work.bearings))
    wanted = pd.MultiIndex.from_arrays([machine, pd.DatetimeIndex(made["date"]).as_unit("us")]).isin(keys)
    return from_frame("summaries", made[wanted])
