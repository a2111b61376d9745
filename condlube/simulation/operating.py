"""How machines run: ambient temperature, running state, speed, load and current, hour by hour."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from condlube.simulation.timeline import BoolArray, FloatArray, Timeline, red_noise

SUPPLY_A_PER_KW = 1.8
"""Rated current of a three-phase motor on 400 V, from its rated power (common practice)."""

COLDEST_DAY = 20.0
WARMEST_HOUR = 15.0


@dataclass(frozen=True)
class Operation:
    """Operating record of one machine, each of shape (n,): running or not, shaft speed (r/min), load (%)."""

    running: BoolArray
    speed_rpm: FloatArray
    load_pct: FloatArray

    def current_a(self, power_kw: float) -> FloatArray:
        """Motor current (A): magnetising share plus load; zero at standstill."""
        return np.asarray(np.where(self.running, SUPPLY_A_PER_KW * power_kw * (0.32 + 0.0068 * self.load_pct), 0.0))

    def stopped(self, mask: BoolArray) -> Operation:
        """The same machine standing still where ``mask``."""
        running = self.running & ~mask
        return Operation(running, np.where(running, self.speed_rpm, 0.0), np.where(running, self.load_pct, 0.0))


def ambient(
    rng: np.random.Generator,
    timeline: Timeline,
    *,
    mean_degc: float,
    season_k: float,
    day_k: float,
    weather_k: float,
) -> FloatArray:
    """Hall temperature (°C) with season, day and weather, shape (n,)."""
    season = -season_k * np.cos(2 * np.pi * (timeline.day_of_year - COLDEST_DAY) / 365.25)
    day = day_k * np.cos(2 * np.pi * (timeline.hour_of_day - WARMEST_HOUR) / 24)
    return np.asarray(mean_degc + season + day + red_noise(rng, timeline.n, 60.0, weather_k))


def _load(rng: np.random.Generator, timeline: Timeline, mean_pct: float) -> FloatArray:
    shift = 3.0 * np.cos(2 * np.pi * (timeline.hour_of_day - 11) / 24)
    return np.clip(mean_pct + shift + red_noise(rng, timeline.n, 8.0, 3.5), 5.0, 110.0)


def _trips(rng: np.random.Generator, n: int, per_year: float) -> BoolArray:
    """Short unplanned stops of 2 to 10 hours."""
    stopped = np.zeros(n, dtype=np.bool_)
    for begin in rng.integers(0, n, rng.poisson(per_year * n / 8766)):
        stopped[begin : begin + rng.integers(2, 11)] = True
    return stopped


def fixed(rng: np.random.Generator, timeline: Timeline, speed_rpm: float, low_rpm: float, load_pct: float) -> Operation:
    """Continuous service at fixed speed; slip follows load. ``low_rpm`` is not used."""
    load = _load(rng, timeline, load_pct)
    speed = speed_rpm * (1 - 0.00008 * (load - load_pct)) + rng.normal(0, 0.4, timeline.n)
    running = np.ones(timeline.n, dtype=np.bool_)
    return Operation(running, speed, load).stopped(_trips(rng, timeline.n, 4.0))


def variable(
    rng: np.random.Generator, timeline: Timeline, speed_rpm: float, low_rpm: float, load_pct: float
) -> Operation:
    """Inverter drive: a new setpoint every few hours between ``low_rpm`` and ``speed_rpm``; load as its square."""
    changes = np.cumsum(rng.integers(5, 30, timeline.n // 5))
    setpoint = low_rpm + (speed_rpm - low_rpm) * rng.beta(1.6, 1.3, len(changes))
    speed = setpoint[np.searchsorted(changes, np.arange(timeline.n), side="right").clip(max=len(changes) - 1)]
    speed = speed + red_noise(rng, timeline.n, 3.0, 0.006 * speed_rpm)
    load = _load(rng, timeline, load_pct) * (speed / speed_rpm) ** 2
    running = np.ones(timeline.n, dtype=np.bool_)
    return Operation(running, speed, load).stopped(_trips(rng, timeline.n, 4.0))


def standby(
    rng: np.random.Generator, timeline: Timeline, speed_rpm: float, low_rpm: float, load_pct: float
) -> Operation:
    """A test run of two hours every Tuesday morning, and once in a while a day of service."""
    test = (timeline.weekday == 1) & (timeline.hour_of_day >= 9) & (timeline.hour_of_day < 11)
    service = np.isin(timeline.day, rng.choice(timeline.days, max(1, timeline.days // 120), replace=False))
    return fixed(rng, timeline, speed_rpm, low_rpm, load_pct).stopped(~(test | service))


def weekend(
    rng: np.random.Generator, timeline: Timeline, speed_rpm: float, low_rpm: float, load_pct: float
) -> Operation:
    """Fixed speed from Monday 06:00 to Saturday 06:00."""
    return fixed(rng, timeline, speed_rpm, low_rpm, load_pct).stopped(_weekend(timeline))


def weekend_variable(
    rng: np.random.Generator, timeline: Timeline, speed_rpm: float, low_rpm: float, load_pct: float
) -> Operation:
    """Inverter drive from Monday 06:00 to Saturday 06:00."""
    return variable(rng, timeline, speed_rpm, low_rpm, load_pct).stopped(_weekend(timeline))


def _weekend(timeline: Timeline) -> BoolArray:
    weekday, hour = timeline.weekday, timeline.hour_of_day
    return np.asarray(((weekday == 5) & (hour >= 6)) | (weekday == 6) | ((weekday == 0) & (hour < 6)))


PROFILES: dict[str, Callable[[np.random.Generator, Timeline, float, float, float], Operation]] = {
    "fixed": fixed,
    "variable": variable,
    "standby": standby,
    "weekend": weekend,
    "weekend_variable": weekend_variable,
}


def at_speed(operation: Operation, mask: BoolArray, speed_rpm: float, load_pct: float) -> Operation:
    """The same machine held at one speed and load where ``mask`` and running (a change of process)."""
    held = mask & operation.running
    return replace(
        operation,
        speed_rpm=np.where(held, speed_rpm, operation.speed_rpm),
        load_pct=np.where(held, load_pct, operation.load_pct),
    )
