"""One bearing with a fault of known onset, size and course: for tests of detection and of the chain."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from condlube.simulation import faults, operating, signals
from condlube.simulation.operating import Operation
from condlube.simulation.signals import Deviations, Healthy
from condlube.simulation.timeline import FloatArray, Timeline, red_noise

UTC = ZoneInfo("UTC")
FIRST = date(2025, 1, 1)
AMBIENT = {"mean_degc": 24.0, "season_k": 3.5, "day_k": 2.5, "weather_k": 1.8}


@dataclass(frozen=True)
class BearingHistory:
    """Hourly readings by quantity (canonical units), how the machine ran, the hall, and the true deviations."""

    timeline: Timeline
    operation: Operation
    ambient_degc: FloatArray
    readings: Mapping[str, FloatArray]
    truth: Deviations


def simulate_bearing_history(
    rng: np.random.Generator,
    days: int,
    deviations: Deviations | None = None,
    *,
    profile: str = "fixed",
    speed_rpm: float = 1480.0,
    speed_low_rpm: float = 700.0,
    load_pct: float = 72.0,
    healthy: Healthy | None = None,
    quantities: Sequence[str] = ("ultrasound", "acceleration", "velocity", "temperature"),
    first: date = FIRST,
    zone: ZoneInfo = UTC,
) -> BearingHistory:
    """Hourly history of one bearing.

    Parameters
    ----------
    rng
        Source of all randomness.
    days
        Length of the history, local days of ``zone`` from ``first``.
    deviations
        What is wrong, hour by hour, for instance ``faults.dry(hours_of(days), onset_h=24 * 60, days=30)``; nothing if
        not given.
    profile
        One of :data:`condlube.simulation.operating.PROFILES`, at ``speed_rpm`` down to ``speed_low_rpm`` and
        ``load_pct``.
    healthy
        Healthy levels; by default those of a mid-size motor at ``speed_rpm``.
    """
    timeline = Timeline.of(first, first + timedelta(days=days - 1), zone)
    operation = operating.PROFILES[profile](rng, timeline, speed_rpm, speed_low_rpm, load_pct)
    hall = operating.ambient(rng, timeline, **AMBIENT)
    truth = deviations if deviations is not None else Deviations()
    sound = healthy if healthy is not None else Healthy(nominal_rpm=speed_rpm)
    readings = {name: signals.level(name, rng, operation, sound, truth, hall) for name in quantities}
    return BearingHistory(timeline, operation, hall, readings, truth)


def simulate_nights(
    rng: np.random.Generator,
    days: int,
    *,
    onset_day: float,
    size_db: float,
    rise_days: float,
    noise_db: float = 0.5,
    memory_days: float = 1.5,
) -> tuple[FloatArray, FloatArray]:
    """Nightly deviations in dB and their truth, each of shape (days,): a straight rise in correlated noise.

    ``noise_db`` is the standard deviation from night to night, ``memory_days`` the time in which its correlation falls
    to 1/e. ``onset_day`` at or beyond ``days`` means that nothing happens.
    """
    truth = size_db * faults.ramp(24.0 * np.arange(1.0, days + 1, dtype=np.float64), 24.0 * onset_day, rise_days)
    return truth + red_noise(rng, days, memory_days, noise_db), truth


def hours_of(days: int) -> FloatArray:
    """Hours since the beginning of a history of ``days`` days of 24 h, shape (24·days,): the argument of the faults."""
    return np.arange(24.0 * days)
