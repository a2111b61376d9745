"""The hours of a span of site-local days, and noise along them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.errors import InvalidArgument
from condlube.schema.nights import midnight, nights_between

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Timeline:
    """Whole hours from the local midnight that begins ``first`` to the one that ends ``last``.

    Attributes
    ----------
    utc
        Start of each hour, UTC, ``datetime64[s]``, shape (n,).
    day
        Index of the local day of each hour, shape (n,).
    hour_of_day
        Local hour, 0 to 23, shape (n,).
    weekday
        Monday is 0, shape (n,).
    """

    first: date
    last: date
    zone: ZoneInfo
    utc: npt.NDArray[np.datetime64]
    day: IntArray
    hour_of_day: IntArray
    weekday: IntArray

    @staticmethod
    def of(first: date, last: date, zone: ZoneInfo) -> Timeline:
        """The hours of the local days ``first`` to ``last``; raises ``InvalidArgument`` if there is none."""
        if last < first:
            raise InvalidArgument("last", last, f"{first} or later")
        starts = [midnight(day, zone) for day in nights_between(first, last + timedelta(days=1))]
        hours = [int((b - a).total_seconds()) // 3600 for a, b in pairwise(starts)]
        n = sum(hours)
        utc = np.datetime64(starts[0].replace(tzinfo=None), "s") + np.arange(n) * np.timedelta64(3600, "s")
        day = np.repeat(np.arange(len(hours)), hours)
        local = (starts[0] + timedelta(hours=k) for k in range(n))
        hour_of_day = np.array([instant.astimezone(zone).hour for instant in local], dtype=np.int64)
        return Timeline(first, last, zone, utc, day, hour_of_day, (day + first.weekday()) % 7)

    @property
    def n(self) -> int:
        """Number of hours."""
        return len(self.utc)

    @property
    def days(self) -> int:
        """Number of local days."""
        return int(self.day[-1]) + 1

    @property
    def hours(self) -> FloatArray:
        """Hours since the beginning, shape (n,)."""
        return np.arange(self.n, dtype=np.float64)

    @property
    def day_of_year(self) -> FloatArray:
        """Days since 1 January of the first year, shape (n,)."""
        return np.asarray(self.day + float(self.first.timetuple().tm_yday - 1))

    def hour_at(self, when: datetime | date) -> float:
        """Hours since the beginning of a site-local time (a date means its midnight); may lie outside the span."""
        if not isinstance(when, datetime):
            when = datetime.combine(when, datetime.min.time())
        instant = when if when.tzinfo else when.replace(tzinfo=self.zone)
        return (instant - midnight(self.first, self.zone)).total_seconds() / 3600

    def instant_at(self, hour: float) -> datetime:
        """The UTC instant ``hour`` hours after the beginning, to the minute."""
        begin = midnight(self.first, self.zone)
        return (begin + timedelta(minutes=round(60 * hour))).astimezone(UTC)

    def between(self, begin: datetime | date, end: datetime | date) -> BoolArray:
        """Mask of the hours from ``begin`` up to ``end``, shape (n,)."""
        hours = self.hours
        return np.asarray((hours >= self.hour_at(begin)) & (hours < self.hour_at(end)))


def red_noise(rng: np.random.Generator, n: int, memory: float, sd: float) -> FloatArray:
    """Stationary first-order autoregressive noise, shape (n,): correlation falls to 1/e in ``memory`` steps."""
    phi = float(np.exp(-1.0 / memory))
    white = rng.normal(0.0, sd * np.sqrt(1 - phi**2), n)
    start = rng.normal(0.0, sd)
    steps = np.concatenate(([start], white / (1 - phi)))
    return _first_order(steps, phi)[1:]


def lagged(values: FloatArray, hours: float) -> FloatArray:
    """First-order lag with time constant ``hours`` of an hourly series, settled at its first value, shape (n,)."""
    keep = float(np.exp(-1.0 / hours))
    return _first_order(values, keep)


def _first_order(values: FloatArray, keep: float) -> FloatArray:
    """``y[t] = keep y[t - 1] + (1 - keep) values[t]`` from ``y[0] = values[0]`` on."""
    smooth: FloatArray = pd.Series(values).ewm(alpha=1 - keep, adjust=False).mean().to_numpy()
    return smooth
