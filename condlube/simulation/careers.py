"""The career of one bearing in days: greasings, the lives of its fillings, faults, failures and replacements."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from condlube.simulation import faults
from condlube.simulation.lubrication import grease_life
from condlube.simulation.signals import Deviations
from condlube.simulation.timeline import FloatArray

DRY_ENDS = 1.25
"""Share of a grease life at which the film is gone; see :func:`condlube.simulation.faults.depletion`."""
DRY_TO_FAILURE_D = 25.0
SPALLING_D = (20.0, 60.0)
UNBALANCE_D = 30.0
DOSE = {"grease_g": "25", "grease_id": "G1"}


@dataclass(frozen=True)
class Fact:
    """One event of the record, ``day`` after the beginning (fractions count), with further fields as text."""

    day: float
    kind: str
    details: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Fault:
    """One fault of the truth: when it set in, when it was cured or the bearing failed."""

    kind: str
    onset_day: float
    ended_day: float
    failed: bool


@dataclass(frozen=True)
class Career:
    """Daily true deviations, shape (days,) each, the record and the truth."""

    deviations: Deviations
    events: tuple[Fact, ...]
    faults: tuple[Fault, ...]


def simulate_career(
    rng: np.random.Generator,
    days: int,
    interval_d: float,
    *,
    spalling_per_year: float,
    unbalance_per_year: float,
) -> Career:
    """A bearing greased at 0.85 to 1.0 of ``interval_d`` for ``days`` days.

    Each filling has a life of its own. A bearing whose film is gone fails 25 days later unless it is greased before;
    a spalling one fails 20 to 60 days after the first pit. Both are replaced the next day. Unbalance is found and
    cured after 30 days.
    """
    hours: FloatArray = 24.0 * np.arange(1, days + 1, dtype=np.float64)
    events = [Fact(-float(rng.uniform(0.0, 0.9)) * interval_d, "relubrication", DOSE)]
    found: list[Fault] = []
    deviations = Deviations()
    begin = events[0].day
    pit, broken = _pit(rng, 0.0, spalling_per_year)
    while begin < days:
        life = float(grease_life(rng, 1)[0]) * interval_d
        greased = begin + float(rng.uniform(0.85, 1.0)) * interval_d
        out = begin + DRY_ENDS * life + DRY_TO_FAILURE_D
        end = min(greased, out, broken)
        until = min(end, float(days))
        within = (hours > 24 * begin) & (hours <= 24 * end)
        deviations = deviations + faults.depletion((hours / 24 - begin) / life).only(within)
        dry_from = max(begin + faults.FLOOR_LIFE_SHARE * life, 0.0)
        if dry_from < until:
            found.append(Fault("dry", dry_from, until, failed=out == end < days))
        if pit < until and (end != greased or end >= days):
            deviations = deviations + faults.spalling(hours, 24 * pit, broken - pit).only(hours <= 24 * end)
            found.append(Fault("spalling", pit, until, failed=broken == end < days))
        begin = end
        if end == greased:
            events.append(Fact(end, "relubrication", DOSE))
        else:
            events += _failure(end, dry=end == out)
            begin = end + 1.0
            pit, broken = _pit(rng, begin, spalling_per_year)
    wheel = _next(rng, 0.0, unbalance_per_year)
    if wheel < days:
        cured = min(wheel + UNBALANCE_D, float(days))
        deviations = deviations + faults.unbalance(hours, 24 * wheel).only(hours <= 24 * cured)
        found.append(Fault("unbalance", wheel, cured, failed=False))
        if cured < days:
            events.append(Fact(cured, "inspection", {"finding": "none"}))
    return Career(deviations, tuple(event for event in events if event.day < days), tuple(found))


def _failure(day: float, dry: bool) -> list[Fact]:
    said = {
        "finding": "5.2.3" if dry else "5.1.2",
        "failure_mode": "OHE" if dry else "VIB",
        "lubrication_related": "true" if dry else "false",
    }
    return [Fact(day, "failure", said), Fact(day + 1.0, "replacement")]


def _pit(rng: np.random.Generator, after: float, per_year: float) -> tuple[float, float]:
    """The day of the next first pit, and the day on which the bearing breaks down from it."""
    pit = _next(rng, after, per_year)
    return pit, pit + float(rng.uniform(*SPALLING_D))


def _next(rng: np.random.Generator, after: float, per_year: float) -> float:
    return after + float(rng.exponential(365.25 / per_year)) if per_year > 0 else np.inf
