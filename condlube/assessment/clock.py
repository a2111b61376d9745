"""Running and standing time since a greasing, and the grease life that each uses up."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.assessment.greasings import HOUR, TimeArray, instant
from condlube.assessment.interval import Intervals
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.manipulation.kernel import kernel, starts_of
from condlube.schema.nights import midnight

PARTS = 8
_AT_ONCE = 16_384  # rows whose temperatures stay in the processor's cache while they are worked on
NEVER_US = np.iinfo(np.int64).min


@dataclass(frozen=True)
class Span:
    """What passed between two instants, per bearing: hours, of them running, of them outside the method's range, and
    the shares of the interval used up running and standing."""

    hours: FloatArray
    running_h: FloatArray
    outside_h: FloatArray
    x_running: FloatArray
    x_standing: FloatArray


USAGE_COLUMNS = ("point_id", "date", "cell", "running_h", "speed_rpm", "octiles")
"""What the clock reads of the summaries."""


@dataclass(frozen=True)
class Clock:
    """Measured days, and what holds on days without a measurement.

    Rows, sorted by bearing and date: ``which`` bearing, ``begin`` and ``end`` of the day, ``covered_h`` of it (once a
    day), ``running_h``, ``rate_per_h`` (1/interval at the row's conditions; 0 where ``outside``). Per bearing:
    ``running_share``, ``register_rate_per_h`` and ``standing_rate_per_h``.
    """

    which: IntArray
    begin: TimeArray
    end: TimeArray
    covered_h: FloatArray
    running_h: FloatArray
    rate_per_h: FloatArray
    outside: BoolArray
    running_share: FloatArray
    register_rate_per_h: FloatArray
    standing_rate_per_h: FloatArray

    def between(self, who: IntArray, start: TimeArray, stop: TimeArray) -> Span:
        """What passed for the bearings ``who`` from ``start`` to ``stop``; NaN where one of them is not known.

        Time on days without a measurement counts as running, by the register's running share.
        """
        hours = np.maximum((stop - start) / HOUR, 0.0)
        covered_h, measured_h, outside_h, x = _measured(
            who, start.astype("datetime64[us]").astype(np.int64), stop.astype("datetime64[us]").astype(np.int64),
            starts_of(self.which, len(self.running_share)), self.begin.astype(np.int64), self.end.astype(np.int64),
            self.covered_h, self.running_h, self.rate_per_h, self.outside,
        )  # fmt: skip
        unmeasured = np.maximum(hours - covered_h, 0.0) * self.running_share[who]
        running_h = measured_h + unmeasured
        return Span(
            hours=hours,
            running_h=running_h,
            outside_h=outside_h,
            x_running=x + unmeasured * self.register_rate_per_h[who],
            x_standing=np.maximum(hours - running_h, 0.0) * self.standing_rate_per_h[who],
        )


@kernel
def _measured(
    who: IntArray, start: IntArray, stop: IntArray, first: IntArray, begin: IntArray, end: IntArray,
    covered_h: FloatArray, running_h: FloatArray, rate_per_h: FloatArray, outside: BoolArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """Hours covered, running, outside, and x used up on the measured days between two instants, in order of day."""
    n = len(who)
    covered, measured, beyond, x = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    row, whole = 0, False
    for k in range(n):
        if start[k] == NEVER_US or stop[k] == NEVER_US:
            whole = False
            continue
        last = first[who[k] + 1]
        same = k > 0 and who[k] == who[k - 1] and start[k] == start[k - 1]
        if same and (stop[k] == stop[k - 1] or (whole and stop[k] > stop[k - 1])):  # the sums go on
            covered[k], measured[k], beyond[k], x[k] = covered[k - 1], measured[k - 1], beyond[k - 1], x[k - 1]
        else:
            row = first[who[k]] + np.searchsorted(end[first[who[k]] : last], start[k], side="right")
        while row < last and begin[row] < stop[k]:
            overlap = min(stop[k], end[row]) - max(start[k], begin[row])
            share = max(overlap / (end[row] - begin[row]), 0.0)
            running = running_h[row] * share
            covered[k] += covered_h[row] * share
            measured[k] += running
            x[k] += running * rate_per_h[row]
            if outside[row]:
                beyond[k] += running
            row += 1
        whole = row == first[who[k]] or end[row - 1] <= stop[k]
    return covered, measured, beyond, x


def clock(
    bearings: pd.DataFrame,
    points: pd.DataFrame,
    usage: pd.DataFrame,
    table: Intervals,
    standing_rate_per_h: FloatArray,
    zone: ZoneInfo,
) -> Clock:
    """The days of the usage, one signal of a bearing and day speaking: its own temperature before its other signals
    before those of the machine."""
    everyone = np.arange(len(bearings))
    register = table.at_reference(everyone, np.full(len(bearings), np.nan))
    rows = _speaking(bearings, points, usage)
    which = rows["which"].to_numpy(dtype=np.int64)
    measured_rpm = rows["speed_rpm"].to_numpy(dtype=np.float64, na_value=np.nan)
    speed = np.where(_has_speed(bearings, points)[which], measured_rpm, np.nan)
    base = table.at_reference(which, speed)
    heat = table.register_heat[which].copy()
    parts = _octiles(rows["octiles"])
    measured = np.flatnonzero(~np.isnan(parts).any(axis=1))
    for at in np.split(measured, range(_AT_ONCE, len(measured), _AT_ONCE)):
        heat[at] = table.heat(which[at], parts[at]).mean(axis=1)
    begin, end = _days(rows["date"], zone)
    first = np.r_[True, (which[1:] != which[:-1]) | (begin[1:] != begin[:-1])][: len(which)]
    return Clock(
        which=which, begin=begin, end=end, covered_h=np.where(first, (end - begin) / HOUR, 0.0),
        running_h=np.array(rows["running_h"].to_numpy(dtype=np.float64, na_value=0.0)),  # a view may be read-only
        rate_per_h=_rate(base.value, heat, table.most_h), outside=base.outside,
        running_share=bearings["running_share"].to_numpy(dtype=np.float64),
        register_rate_per_h=_rate(register.value, table.register_heat, table.most_h),
        standing_rate_per_h=standing_rate_per_h,
    )  # fmt: skip


def _rate(hours: FloatArray, heat: FloatArray, most_h: float) -> FloatArray:
    """Share of the interval used up per running hour; 0 where there is no interval."""
    return np.nan_to_num(np.maximum(heat / hours, 1.0 / most_h))


def _speaking(bearings: pd.DataFrame, points: pd.DataFrame, usage: pd.DataFrame) -> pd.DataFrame:
    """Rows of the usage by bearing, sorted, only those of the signal that speaks for the bearing on that day."""
    ids = pd.DataFrame({"bearing_id": bearings["bearing_id"], "machine_id": bearings["machine_id"]})
    ids["which"] = np.arange(len(ids))
    own = points[points["bearing_id"].notna()].merge(ids[["bearing_id", "which"]], on="bearing_id")
    shared = points[points["bearing_id"].isna() & points["machine_id"].notna()].merge(
        ids[["machine_id", "which"]], on="machine_id"
    )
    wanted = ["point_id", "quantity", "which"]
    place = pd.concat([own[wanted].assign(rank=1), shared[wanted].assign(rank=2)])
    point, names = pd.factorize(usage["point_id"], sort=True)
    place["point"] = pd.Index(names).get_indexer(pd.Index(place["point_id"]))
    rows = usage.drop(columns="point_id").assign(point=point).merge(place.drop(columns="point_id"), on="point")
    warm = (rows["quantity"] == "temperature") & rows["octiles"].notna() & (rows["rank"] == 1)
    rank = np.where(warm, 0, rows["rank"])
    day = pd.to_datetime(rows["date"]).to_numpy().astype("datetime64[D]").astype(np.int64)
    rows = rows.iloc[order := np.lexsort((rows["cell"], rows["point"], rank, day, rows["which"]))]
    which, day, point = rows["which"].to_numpy(), day[order], rows["point"].to_numpy()
    first = np.r_[True, (which[1:] != which[:-1]) | (day[1:] != day[:-1])][: len(rows)]
    leader = point[first][np.cumsum(first) - 1]
    return rows[point == leader].reset_index(drop=True)


def _has_speed(bearings: pd.DataFrame, points: pd.DataFrame) -> BoolArray:
    """Whether the machine's speed is measured; elsewhere the register's speed of the bearing's own shaft holds."""
    measured = points.loc[points["quantity"] == "speed"]
    machine_of = bearings.drop_duplicates("bearing_id").set_index("bearing_id")["machine_id"]
    machines = pd.concat([measured["machine_id"], measured["bearing_id"].map(machine_of)])
    return np.asarray(bearings["machine_id"].isin(machines.dropna()))


def _octiles(column: pd.Series) -> FloatArray:
    """[rows, 8] housing temperatures; NaN where a row has none."""
    parts = np.full((len(column), PARTS), np.nan)
    if not len(column):
        return parts
    lists = pa.array(column, type=pa.list_(pa.float64()), from_pandas=True)
    lists = lists.combine_chunks() if isinstance(lists, pa.ChunkedArray) else lists
    there = np.asarray(lists.is_valid()) & (np.nan_to_num(np.asarray(lists.value_lengths()).astype(float)) == PARTS)
    parts[there] = np.asarray(lists.filter(pa.array(there)).flatten(), dtype=np.float64).reshape(-1, PARTS)
    return parts


def _days(dates: pd.Series, zone: ZoneInfo) -> tuple[TimeArray, TimeArray]:
    """The instants that bound each local date."""
    days, position = np.unique(pd.to_datetime(dates).to_numpy().astype("datetime64[D]"), return_inverse=True)
    begins = [instant(midnight(day.astype(object), zone)) for day in days]
    ends = [instant(midnight((day + 1).astype(object), zone)) for day in days]
    made = np.array([begins, ends], dtype="datetime64[us]").reshape(2, -1)
    return made[0][position], made[1][position]
