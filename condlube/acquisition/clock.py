"""Local time to UTC through the changes of the clock, with the hours named that never were or were twice."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MARGIN_US = 2 * 86_400_000_000


@dataclass(frozen=True)
class Change:
    """The clock moves at ``at_us`` (UTC) from one offset east of Greenwich to another."""

    at_us: int
    before_us: int
    after_us: int

    @property
    def first_us(self) -> int:
        """Begin, in local time, of the hour that is missing or repeated."""
        return self.at_us + min(self.before_us, self.after_us)

    @property
    def last_us(self) -> int:
        """Its end, exclusive: from here on local time is clear again."""
        return self.at_us + max(self.before_us, self.after_us)

    @property
    def repeats(self) -> bool:
        return self.after_us < self.before_us


def changes(zone: ZoneInfo, first_us: int, last_us: int) -> list[Change]:
    """Every change of the clock whose local hour may touch local times from ``first_us`` to ``last_us``."""
    years = range(_year(first_us - _MARGIN_US), _year(last_us + _MARGIN_US) + 1)
    found = [change for year in years for change in _changes_of_year(zone, year)]
    return [c for c in found if c.last_us > first_us - _MARGIN_US and c.first_us < last_us + _MARGIN_US]


def to_utc(local_us: np.ndarray, zone: ZoneInfo) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """UTC microseconds, whether the local time never was, and whether it was twice (then the first is given)."""
    nowhere = np.zeros(len(local_us), bool)
    if len(local_us) == 0:
        return local_us, nowhere, nowhere
    steps = changes(zone, int(local_us.min()), int(local_us.max()))
    if not steps:
        return local_us - _offset_us(zone, int(local_us[0])), nowhere, nowhere
    passed = np.searchsorted(np.array([c.last_us for c in steps]), local_us, side="right")
    offsets = np.array([steps[0].before_us, *(c.after_us for c in steps)])
    missing, repeated = nowhere.copy(), nowhere.copy()
    for change in steps:
        within = (local_us >= change.first_us) & (local_us < change.last_us)
        (repeated if change.repeats else missing)[within] = True
    return local_us - offsets[passed], missing, repeated


def to_local(utc_us: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    """Local microseconds of UTC instants."""
    if len(utc_us) == 0:
        return utc_us
    steps = changes(zone, int(utc_us.min()), int(utc_us.max()))
    if not steps:
        instant = _EPOCH + timedelta(microseconds=int(utc_us[0]))
        return utc_us + _us(_offset(zone, instant))
    offsets = np.array([steps[0].before_us, *(c.after_us for c in steps)])
    passed = np.searchsorted(np.array([c.at_us for c in steps]), utc_us, side="right")
    local_us: np.ndarray = utc_us + offsets[passed]
    return local_us


@cache
def _changes_of_year(zone: ZoneInfo, year: int) -> tuple[Change, ...]:
    day = datetime(year, 1, 1, tzinfo=UTC)
    end = datetime(year + 1, 1, 1, tzinfo=UTC)
    found = []
    while day < end:
        following = day + timedelta(days=1)
        if _offset(zone, day) != _offset(zone, following):
            early, late = day, following
            while late - early > timedelta(seconds=1):
                middle = early + (late - early) // 2
                if _offset(zone, middle) == _offset(zone, day):
                    early = middle
                else:
                    late = middle
            late = late.replace(microsecond=0)
            found.append(Change(_us(late - _EPOCH), _us(_offset(zone, day)), _us(_offset(zone, following))))
        day = following
    return tuple(found)


def _offset(zone: ZoneInfo, instant: datetime) -> timedelta:
    return instant.astimezone(zone).utcoffset() or timedelta()


def _offset_us(zone: ZoneInfo, local_us: int) -> int:
    local = (_EPOCH + timedelta(microseconds=local_us)).replace(tzinfo=zone)
    return _us(local.utcoffset() or timedelta())


def _us(span: timedelta) -> int:
    return span // timedelta(microseconds=1)


def _year(us: int) -> int:
    return min(max((_EPOCH + timedelta(microseconds=us)).year, 2), 9998)
