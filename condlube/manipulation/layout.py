"""Tables to arrays: readings sorted by point and time, points by machine."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.errors import InvalidArgument
from condlube.manipulation.fields import TIME
from condlube.manipulation.kernel import Bools, Floats, Ints, starts_of
from condlube.manipulation.levels import decibel
from condlube.manipulation.quantities import AMBIENT, CURRENT, POWER, SENSING, SPEED, is_amplitude
from condlube.manipulation.reasons import BAD, CLOCK, FULL_SCALE, RANGE, SOUND, UNCERTAIN
from condlube.manipulation.rules import HOUR
from condlube.policy.model import Policy
from condlube.schema.nights import as_of, midnight
from condlube.schema.words import QUANTITIES


class Batch(NamedTuple):
    """Whole machines and their readings, with rows as in ``fields``. Times are microseconds since the epoch, UTC."""

    readings: Floats  # (5, readings); those of point p are start[p]:start[p + 1], in time order
    start: Ints
    points: Floats  # (points, 5)
    machine_of: Ints  # machine of each point, -1 where it is plant-wide
    member: Ints  # the points of machine m are member[member_start[m]:member_start[m + 1]], the machine's own first
    member_start: Ints
    plant: Ints  # plant-wide ambient points
    senses: Bools  # points whose level shows standstill
    tells: Bools  # points that tell running from standstill: speed, power, current
    since: Floats  # local midnights: begin of each day's lookback, of the day, and its end
    begin: Floats
    end: Floats
    key: Ints  # of each reading, sorted: point · width + time after the first ``since``
    width: int

    def positions(self, at: float) -> Ints:
        """First reading of each point that is not before ``at``, shape (points,)."""
        after = min(max(int(at - self.since[0]), 0), self.width)
        return np.searchsorted(self.key, np.arange(len(self.points)) * self.width + after).astype(np.int64)


def day_bounds(days: Sequence[date], lookback_days: int, zone: ZoneInfo) -> tuple[Floats, Floats, Floats]:
    """Local midnights that begin the lookback of each day, begin the day and end it, microseconds UTC."""
    back = timedelta(days=lookback_days)
    bounds = [(midnight(day - back, zone), midnight(day, zone), as_of(day, zone)) for day in days]
    since, begin, end = np.array([[micros(bound) for bound in day] for day in bounds], np.float64).T
    return since, begin, end


def micros(instant: datetime) -> int:
    """Microseconds since the epoch."""
    return int(pd.Timestamp(instant).value // 1000)


def machines(points: pd.DataFrame, bearings: pd.DataFrame) -> pd.Series:
    """Machine of every row of ``points``; null for plant-wide points."""
    of_bearing = points["bearing_id"].map(bearings.set_index("bearing_id")["machine_id"])
    return points["machine_id"].where(points["machine_id"].notna() & (points["machine_id"] != ""), of_bearing)


def lay_out(
    readings: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, days: Sequence[date], zone: ZoneInfo,
    policy: Policy,
) -> Batch:  # fmt: skip
    """Arrays of a batch. ``points`` is sorted by point_id and indexed from 0.

    Readings of points that are not in ``points``, or outside a point's validity, are left out.
    """
    machine = machines(points, bearings)
    code, _ = pd.factorize(machine, sort=True)
    numbers = points["quantity"].map({name: k for k, name in enumerate(QUANTITIES)})
    quantity: Ints = np.asarray(numbers, np.int64)
    since, begin, end = day_bounds(days, policy.summary.lookback_days, zone)
    own = (points["bearing_id"].isna() | (points["bearing_id"] == "")).to_numpy()
    order = np.lexsort((np.arange(len(points)), ~own, code))
    order = order[code[order] >= 0]
    count = np.bincount(code[code >= 0], minlength=int(code.max(initial=-1)) + 1)
    table, start = _readings(readings, points, quantity, (since[0], end[-1]), zone, policy)
    width = int(end[-1] - since[0])
    key = np.repeat(np.arange(len(points)), np.diff(start)) * width + (table[TIME] - since[0]).astype(np.int64)
    return Batch(
        table, start,
        np.column_stack([quantity, points["sampling"] == "route", *_shafts(points, machine, bearings, policy)]),
        code.astype(np.int64), order.astype(np.int64), np.concatenate(([0], np.cumsum(count))).astype(np.int64),
        np.flatnonzero((code < 0) & (quantity == AMBIENT)).astype(np.int64),
        np.isin(quantity, SENSING) & (points["sampling"] != "route").to_numpy(),
        np.isin(quantity, (SPEED, POWER, CURRENT)),
        since, begin, end, key, width,
    )  # fmt: skip


def _readings(
    readings: pd.DataFrame, points: pd.DataFrame, quantity: Ints, span: tuple[float, float], zone: ZoneInfo,
    policy: Policy,
) -> tuple[Floats, Ints]:  # fmt: skip
    """Rows of ``Batch.readings``, sorted, and where each point starts; of equal times the newest known reading."""
    label, found = pd.factorize(readings["point_id"])
    point = np.append(pd.Index(points["point_id"]).get_indexer(pd.Index(found)), -1)[label]
    time, known = instants(readings["time"]), instants(readings["known_at"])
    value = readings["value"].to_numpy(np.float64, na_value=np.nan)
    words = {"good": SOUND, "uncertain": UNCERTAIN}
    label, found = pd.factorize(readings["quality"])
    quality = np.array([*(words.get(word, BAD) for word in found), BAD], np.int64)[label]
    first = _edge(points["valid_from"], zone, np.iinfo(np.int64).min, 0)
    last = _edge(points["valid_to"], zone, np.iinfo(np.int64).max, 1)
    kept = (point >= 0) & (time >= span[0]) & (time < span[1])
    if len(points):
        kept &= (time >= first[point]) & (time < last[point])
    if not kept.all():
        point, time, known, value, quality = (a[kept] for a in (point, time, known, value, quality))
    width = int(span[1] - span[0])
    if len(points) * width > np.iinfo(np.int64).max:
        raise InvalidArgument("points", len(points), f"at most {np.iinfo(np.int64).max // width} for so many days")
    order = np.argsort(point * width + (time - int(span[0])), kind="stable")
    point, time, known, value, quality = (a[order] for a in (point, time, known, value, quality))
    again = (point[1:] == point[:-1]) & (time[1:] == time[:-1])
    if again.any():
        order = np.lexsort((value, quality, known, time, point))
        order = order[np.append(~again, True)]
        point, time, known, value, quality = (a[order] for a in (point, time, known, value, quality))
    amount = np.asarray(value, np.float64)
    codes = _codes(time, amount, known, quality, point, quantity, points, policy)
    level = decibel(amount, is_amplitude(quantity)[point])
    return np.array([time, value, codes, known, level], np.float64), starts_of(point, len(points))


def instants(column: pd.Series) -> Ints:
    """Microseconds since the epoch of a column of UTC instants."""
    return np.asarray(pd.DatetimeIndex(column).as_unit("us").asi8)


def _edge(column: pd.Series, zone: ZoneInfo, otherwise: int, days_on: int) -> Ints:
    """Local midnight of a column of dates, ``days_on`` later; ``otherwise`` where it is empty."""
    bound = np.full(len(column), otherwise, np.int64)
    for k in np.flatnonzero(column.notna().to_numpy()):
        bound[k] = micros(midnight((pd.Timestamp(column.iloc[k]) + pd.Timedelta(days=days_on)).date(), zone))
    return bound


def _codes(
    time: Ints, value: Floats, known: Ints, quality: Ints, point: Ints, quantity: Ints, points: pd.DataFrame,
    policy: Policy,
) -> Ints:  # fmt: skip
    """What one reading by itself tells of its quality: the criteria that need no neighbours."""
    rules = policy.quality
    bounds = np.array([rules.range.of(name) for name in QUANTITIES])
    full_scale = points["full_scale"].to_numpy(np.float64, na_value=np.nan) * rules.full_scale_share
    code = np.where(quality == UNCERTAIN, UNCERTAIN, SOUND)
    code[value >= np.nan_to_num(full_scale, nan=np.inf)[point]] = FULL_SCALE
    low, high = bounds[quantity[point]].T
    code[(value < low) | (value > high)] = RANGE
    code[time > known + rules.clock_tolerance_h * HOUR] = CLOCK
    code[(quality == BAD) | ~np.isfinite(value)] = BAD
    return code


def _shafts(
    points: pd.DataFrame, machine: pd.Series, bearings: pd.DataFrame, policy: Policy
) -> tuple[Floats, Floats, Floats]:
    """Register speed, speed under which the machine stands, and running share, per point."""
    table = bearings.assign(
        least=bearings["speed_min_rpm"].astype(float).fillna(policy.running.speed_share * bearings["speed_rpm"]),
        share=bearings["running_share"].astype(float).fillna(1.0),
    )
    by_machine = table.groupby("machine_id").agg(speed_rpm=("speed_rpm", "max"), share=("share", "max"))
    fastest = table.sort_values(["speed_rpm", "bearing_id"], ascending=[False, True]).drop_duplicates("machine_id")
    by_machine["least"] = fastest.set_index("machine_id")["least"]
    by_bearing = table.set_index("bearing_id")
    found = [
        points["bearing_id"].map(by_bearing[name]).astype(float).fillna(machine.map(by_machine[name]).astype(float))
        for name in ("speed_rpm", "least", "share")
    ]
    speed, least, share = (column.to_numpy(np.float64, copy=True) for column in found)
    return np.where(speed > 0, speed, np.nan), np.nan_to_num(least), np.nan_to_num(share, nan=1.0)
