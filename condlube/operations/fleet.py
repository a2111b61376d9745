"""The fleet on one night: calls, coverage, life used, work carried out, grease given."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import NamedTuple

from condlube.operations.desk import Row, Sight
from condlube.schema.nights import midnight
from condlube.store import views
from condlube.store.rows import rows

LIFE_EDGES = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.5)
CALLS_DAYS = 90
GREASE_DAYS = 365


class Compliance(NamedTuple):
    """Grease calls of the last ``CALLS_DAYS``: greased before the call turned, greased after that, open, and closed
    without a greasing (the call itself went away)."""

    in_time: int
    late: int
    open: int
    withdrawn: int


class Grease(NamedTuple):
    """Grams given over ``days``, and what the same running time would have taken by the intervals alone. ``counted``
    bearings have an interval and a dose; the programme counts those only, and so does ``given_g``."""

    days: int
    given_g: float
    programme_g: float
    counted: int
    without_grams: int


@dataclass(frozen=True)
class Fleet:
    """Counts of bearings. ``by_area`` maps area to call to number; ``life`` are bearings between ``LIFE_EDGES``, the
    last one those without an interval."""

    night: date
    calls: Counter[str]
    by_area: Mapping[str, Counter[str]]
    condition: Counter[str]
    life: Sequence[int]
    compliance: Compliance
    grease: Grease


def fleet(sight: Sight) -> Fleet:
    """The fleet as decided on the night."""
    decisions = sight.decisions.values()
    by_area: dict[str, Counter[str]] = {}
    for row in decisions:
        area = sight.bearings.get(row["bearing_id"], {}).get("area") or "-"
        by_area.setdefault(area, Counter())[row["call"] or "failed"] += 1
    life = [0] * (len(LIFE_EDGES) + 2)
    for row in decisions:
        life[-1 if row["x"] is None else bisect_right(LIFE_EDGES, row["x"])] += 1
    events = rows(views.events_visible(sight.snapshot, sight.run["as_of"], sight.run["known_by"]))
    greasings = [row for row in events if row["kind"] == "relubrication" and row["bearing_id"]]
    return Fleet(
        sight.night,
        Counter(row["call"] or "failed" for row in decisions),
        dict(sorted(by_area.items())),
        Counter(row["condition_status"] or "failed" for row in decisions),
        life,
        _compliance(sight, greasings),
        _grease(sight, greasings),
    )


def _compliance(sight: Sight, greasings: Sequence[Row]) -> Compliance:
    """Every unbroken run of grease calls counts once, by what ended it."""
    zone = sight.register.site.zone
    given: dict[str, list[date]] = {}
    for row in greasings:
        given.setdefault(row["bearing_id"], []).append(row["time"].astimezone(zone).date())
    begin = sight.night - timedelta(days=CALLS_DAYS)
    nights = [run["night"] for run in sight.runs if run["night"] >= begin]
    position = {run["run_id"]: nights.index(run["night"]) for run in sight.runs if run["night"] >= begin}
    found = rows(sight.snapshot.read(
        "decisions", ["run_id", "bearing_id", "due_late"],
        [("night", ">=", begin), ("night", "<=", sight.night), ("call", "=", "grease"), ("run_id", "in", [*position])],
    ))  # fmt: skip
    calls: dict[str, dict[int, date | None]] = {}
    for row in found:
        calls.setdefault(row["bearing_id"], {})[position[row["run_id"]]] = row["due_late"]
    counts: Counter[str] = Counter()
    for bearing_id, called in calls.items():
        for first in sorted(k for k in called if k - 1 not in called):
            last = first
            while last + 1 in called:
                last += 1
            counts[_ended(nights, first, last, called[first], given.get(bearing_id, []))] += 1
    return Compliance(*(counts[name] for name in Compliance._fields))


def _ended(nights: Sequence[date], first: int, last: int, late: date | None, given: Sequence[date]) -> str:
    until = nights[last] + timedelta(days=1)
    done = [day for day in given if nights[first] <= day <= until]
    if done:
        return "in_time" if late is None or min(done) <= late else "late"
    return "open" if last == len(nights) - 1 else "withdrawn"


def _grease(sight: Sight, greasings: Sequence[Row]) -> Grease:
    begin: datetime = midnight(sight.night - timedelta(days=GREASE_DAYS), sight.register.site.zone)
    found = rows(sight.snapshot.read(
        "evidence", ["bearing_id", "observed"],
        [("night", "=", sight.night), ("run_id", "=", sight.run["run_id"]), ("ordinal", "=", 0)],
    ))  # fmt: skip
    running_h = {row["bearing_id"]: row["observed"] for row in found}
    programme = 0.0
    counted = set()
    for row in sight.decisions.values():
        hours, days = running_h.get(row["bearing_id"]), row["days_since_greasing"]
        if hours is None or not days or not row["interval_h"] or not row["grease_g"]:
            continue
        share = min(1.0, hours / (24.0 * days))
        programme += GREASE_DAYS * 24.0 * share / row["interval_h"] * row["grease_g"]
        counted.add(row["bearing_id"])
    given = [row["grease_g"] for row in greasings if row["time"] >= begin and row["bearing_id"] in counted]
    known = [grams for grams in given if grams is not None]
    return Grease(GREASE_DAYS, sum(known), programme, len(counted), len(given) - len(known))
