"""Events that begin a new reference period, per measuring point."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.manipulation.kernel import Bools, Ints, first_at_least

KINDS = ("relubrication", "replacement", "sensor_moved", "rebuilt")
CHANGES = ("replacement", "sensor_moved", "rebuilt")  # another bearing or sensor: earlier references end
PLACES = ("point_id", "bearing_id", "machine_id")

EPOCH = date(1970, 1, 1).toordinal()


@dataclass(frozen=True, order=True)
class Begin:
    """One event as seen from one point: local day of the event, first whole day after settling, kind, instants."""

    day: int
    settled: int
    kind: str
    time: pd.Timestamp
    known_at: pd.Timestamp

    @property
    def change(self) -> bool:
        return self.kind in CHANGES


def in_force(events: pd.DataFrame) -> pd.DataFrame:
    """Events that no later event supersedes."""
    superseded = set(events["supersedes"].dropna()) - {""}
    return events[~events["event_id"].isin(superseded)]


def local_day(time: pd.Timestamp, zone: ZoneInfo) -> int:
    """Site-local date of an instant, as days since 1970-01-01."""
    ordinal: int = time.tz_convert(zone).toordinal()
    return ordinal - EPOCH


def local_days(times: pd.Series, zone: ZoneInfo) -> Ints:
    """Site-local dates of instants, as days since 1970-01-01."""
    local = pd.DatetimeIndex(pd.to_datetime(times, utc=True)).tz_convert(zone).tz_localize(None)
    days: Ints = local.to_numpy().astype("datetime64[D]").astype(np.int64)
    return days


def begins_of(
    points: pd.DataFrame, events: pd.DataFrame, settling_days: int, zone: ZoneInfo, kinds: tuple[str, ...] = KINDS
) -> list[list[Begin]]:
    """Begins of every signal point, in order of time; or its events of other ``kinds``."""
    made: list[list[Begin]] = [[] for _ in range(len(points))]
    events = in_force(events)
    events = events[events["kind"].isin(kinds)].sort_values(["time", "event_id"])
    named = _named(events)
    places = {name: _points_at(points[name], {p for n, p in named if n == name and p}) for name in PLACES}
    after = pd.to_datetime(events["time"], utc=True) + timedelta(days=settling_days)
    whole = after.dt.tz_convert(zone).dt.tz_localize(None)
    settled = local_days(after, zone) + (whole != whole.dt.normalize()).to_numpy()
    dated = zip(
        local_days(events["time"], zone).tolist(), settled.tolist(), events["kind"].to_list(),
        events["time"].to_list(), events["known_at"].to_list(), strict=True,
    )  # fmt: skip
    for (name, place), begin in zip(named, dated, strict=True):
        for p in places[name].get(place, ()):
            made[p].append(Begin(*begin))
    return made


def _points_at(column: pd.Series, wanted: set[str]) -> dict[str, list[int]]:
    """The points at each of the places wanted, by what the column says of every point."""
    made: dict[str, list[int]] = {}
    there = np.flatnonzero(column.isin(wanted))
    for p, place in zip(there.tolist(), column.iloc[there], strict=True):
        made.setdefault(place, []).append(p)
    return made


def _named(events: pd.DataFrame) -> list[tuple[str, str]]:
    """The narrowest place that each event names: which of its columns, and the value there, which may be empty."""
    columns = {name: events[name].fillna("").to_list() for name in PLACES}
    named = []
    for kind, point, bearing, machine in zip(events["kind"].to_list(), *columns.values(), strict=True):
        if point and kind == "sensor_moved":
            named.append(("point_id", point))
        elif point or bearing:
            named.append(("bearing_id", bearing))
        else:
            named.append(("machine_id", machine))
    return named


def changed(begins: list[Begin], since: int, day: int) -> bool:
    """Whether another bearing or sensor came after a period that began on day ``since``, up to ``day``."""
    return any(b.change and since < b.settled and b.day <= day for b in begins)


def replaced(begins: list[Begin], since: int, until: int) -> bool:
    """Whether periods that began on the two days belong to different bearings or sensors."""
    return any(b.change and since < b.settled <= until for b in begins)


def outside_settling(start: Ints, day: Ints, begins: list[list[Begin]]) -> Bools:
    """Which rows, ordered by point and day, lie outside the settling of every event of their point."""
    of = np.repeat(np.arange(len(begins)), np.array([len(events) for events in begins], dtype=np.int64))
    first, last = (
        first_at_least(day, start[of], start[of + 1], np.array(days, dtype=np.int64))
        for days in ([b.day for events in begins for b in events], [b.settled for events in begins for b in events])
    )
    settling = np.bincount(first, minlength=len(day) + 1) - np.bincount(last, minlength=len(day) + 1)
    outside: Bools = np.cumsum(settling)[:-1] == 0
    return outside
