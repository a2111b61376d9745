"""Tables to arrays: readings sorted by point and time, points by machine, numbers of the policy."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.manipulation.reasons import BAD, CLOCK, FULL_SCALE, RANGE, SOUND, UNCERTAIN
from condlube.policy.model import Policy
from condlube.schema.nights import as_of, midnight
from condlube.schema.words import OPERATING, QUANTITIES, SIGNALS

HOUR = 3_600_000_000  # microseconds
DAY = 24 * HOUR

(ULTRASOUND, ACCELERATION, KURTOSIS, CREST_FACTOR, VELOCITY, TEMPERATURE,
 SPEED, CURRENT, POWER, LOAD, AMBIENT) = range(len(QUANTITIES))  # fmt: skip


class Batch(NamedTuple):
    """Whole machines and their readings. Times are microseconds since the epoch, UTC."""

    # readings, shape (readings,): those of point p are start[p]:start[p + 1], in time order
    time: Ints
    value: Floats
    code: Ints
    known: Ints
    start: Ints
    # points, shape (points,)
    quantity: Ints
    route: Bools
    shaft_rpm: Floats  # register speed of the point's bearing; for a machine's point, of its fastest shaft
    min_rpm: Floats  # below this speed the machine stands
    running_share: Floats
    # members of machine m are member[member_start[m]:member_start[m + 1]]; a machine's own points come first
    member: Ints
    member_start: Ints
    plant: Ints  # plant-wide ambient points
    # days, shape (days,): local midnights, and place in the calendar of the memory
    begin: Ints
    end: Ints
    calendar: Ints


class Numbers(NamedTuple):
    """The policy's numbers as kernels need them; times in microseconds, arrays by quantity."""

    coverage_min: float
    stale: int
    fault_share: float
    zero_readings: int
    frozen: int
    frozen_readings: int
    frozen_bits: float
    frozen_ambient_k: float
    spike_db: float
    spike_k: float
    unit_tolerance: float
    unit_readings: int
    coarsest: Floats
    level_share: float
    power_floor: float
    current_floor: float
    apart_db: float
    between_share: float
    side_share: float
    swings: int
    hold: int
    lookback: int
    lookback_days: int
    memory_days: int
    lag: float
    settle: int
    cell_width: float
    cells_max: int


def numbers(policy: Policy) -> Numbers:
    """The numbers of ``[quality]``, ``[running]`` and ``[summary]``."""
    q, r, s = policy.quality, policy.running, policy.summary
    return Numbers(
        q.coverage_min, int(q.stale_h * HOUR), q.fault_share, q.zero_readings, int(q.frozen_h * HOUR),
        q.frozen_readings, q.frozen_bits, q.frozen_ambient_k, q.spike_db, q.spike_k, q.unit_tolerance,
        q.unit_readings, np.array([q.coarsest.of(name) for name in QUANTITIES]),
        r.level_share, r.power_floor_kw, r.current_floor_a, r.apart_db, r.between_share, r.side_share, r.swings,
        int(r.hold_h * HOUR), s.lookback_days * DAY, s.lookback_days, s.memory_days, s.lag_h * HOUR,
        int(s.settle_h * HOUR), s.cell_width, s.cells_max,
    )  # fmt: skip


def day_bounds(days: Sequence[date], zone: ZoneInfo) -> tuple[Ints, Ints]:
    """Local midnights that begin and end each day, microseconds UTC."""
    return np.array([micros(midnight(d, zone)) for d in days], np.int64), np.array(
        [micros(as_of(d, zone)) for d in days], np.int64
    )


def micros(instant: datetime) -> int:
    """Microseconds since the epoch."""
    return pd.Timestamp(instant).value // 1000


def machines(points: pd.DataFrame, bearings: pd.DataFrame) -> pd.Series:
    """Machine of every row of ``points``; null for plant-wide points."""
    of_bearing = points["bearing_id"].map(bearings.set_index("bearing_id")["machine_id"])
    return points["machine_id"].where(points["machine_id"].notna() & (points["machine_id"] != ""), of_bearing)


def lay_out(
    readings: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, days: Sequence[date], calendar: Ints,
    zone: ZoneInfo, policy: Policy,
) -> Batch:  # fmt: skip
    """Arrays of a batch. ``points`` sorted by point_id and indexed from 0; readings of other points are left out."""
    machine = machines(points, bearings)
    code, _ = pd.factorize(machine, sort=True)
    time, value, known, quality, start = _readings(readings, points, zone)
    begin, end = day_bounds(days, zone)
    quantity = points["quantity"].map({name: k for k, name in enumerate(QUANTITIES)}).to_numpy(np.int64)
    own = (points["bearing_id"].isna() | (points["bearing_id"] == "")).to_numpy()
    order = np.lexsort((np.arange(len(points)), ~own, code))
    order = order[code[order] >= 0]
    count = np.bincount(code[code >= 0], minlength=int(code.max(initial=-1)) + 1)
    point = np.repeat(np.arange(len(points)), np.diff(start))
    batch = Batch(
        time, value, _codes(time, value, known, quality, point, quantity, points, policy), known, start,
        quantity, (points["sampling"] == "route").to_numpy(np.bool_), *_shafts(points, machine, bearings, policy),
        order.astype(np.int64), np.concatenate(([0], np.cumsum(count))).astype(np.int64),
        np.flatnonzero((code < 0) & (quantity == AMBIENT)).astype(np.int64), begin, end, calendar,
    )  # fmt: skip
    return batch


def _readings(
    readings: pd.DataFrame, points: pd.DataFrame, zone: ZoneInfo
) -> tuple[Ints, Floats, Ints, Ints, Ints]:
    """Time, value, known_at, quality code and the start of each point, sorted; of equal times the newest known."""
    point = pd.Index(points["point_id"]).get_indexer(readings["point_id"]).astype(np.int64)
    time, known = instants(readings["time"]), instants(readings["known_at"])
    value = readings["value"].to_numpy(np.float64, na_value=np.nan)
    words = {"good": SOUND, "uncertain": UNCERTAIN}
    label, found = pd.factorize(readings["quality"])
    quality = np.array([*(words.get(word, BAD) for word in found), BAD], np.int64)[label]
    first = _edge(points["valid_from"], zone, np.iinfo(np.int64).min, 0)
    last = _edge(points["valid_to"], zone, np.iinfo(np.int64).max, 1)
    kept = point >= 0
    if len(points):
        kept &= (time >= first[point]) & (time < last[point])
    if not kept.all():
        point, time, known, value, quality = (a[kept] for a in (point, time, known, value, quality))
    sorted_already = (np.diff(point) > 0) | ((np.diff(point) == 0) & (np.diff(time) > 0))
    if not sorted_already.all():
        order = np.lexsort((value, quality, known, time, point))
        point, time, known, value, quality = (a[order] for a in (point, time, known, value, quality))
        newest = np.append((point[1:] != point[:-1]) | (time[1:] != time[:-1]), True)[: len(point)]
        point, time, known, value, quality = (a[newest] for a in (point, time, known, value, quality))
    start = np.searchsorted(point, np.arange(len(points) + 1)).astype(np.int64)
    return time, value, known, quality, start


def instants(column: pd.Series) -> Ints:
    """Microseconds since the epoch of a column of UTC instants."""
    return pd.DatetimeIndex(column).as_unit("us").asi8  # type: ignore[no-any-return]


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
    code[time > known + int(rules.clock_tolerance_h * HOUR)] = CLOCK
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
    return speed, least, np.nan_to_num(share, nan=1.0)


def is_operating(quantity: Ints) -> Bools:
    """Whether each quantity tells of the machine's operation rather than of one bearing."""
    return np.asarray(quantity >= len(SIGNALS)) & (quantity < len(SIGNALS) + len(OPERATING))
