"""What the sensors of a bearing read: the healthy level at the operating conditions, noise, and deviations from it."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from condlube.simulation.operating import Operation
from condlube.simulation.timeline import BoolArray, FloatArray, lagged, red_noise

THERMAL_LAG_H = 3.0
DB_PER_DOUBLED_SPEED = 20 * np.log10(2.0)
DAY_H = 24.0


@dataclass(frozen=True)
class Deviations:
    """Departure from the healthy level, each of shape (n,) or a scalar; two add (ratios multiply)."""

    ultrasound_db: FloatArray | float = 0.0
    acceleration_db: FloatArray | float = 0.0
    impulsiveness_ratio: FloatArray | float = 1.0
    velocity_ratio: FloatArray | float = 1.0
    temperature_k: FloatArray | float = 0.0

    def __add__(self, other: Deviations) -> Deviations:
        made = {}
        for field in fields(self):
            mine, theirs = getattr(self, field.name), getattr(other, field.name)
            made[field.name] = mine * theirs if field.name.endswith("_ratio") else mine + theirs
        return Deviations(**made)

    def only(self, mask: BoolArray) -> Deviations:
        """These departures where ``mask``, none elsewhere."""
        made = {}
        for field in fields(self):
            none = 1.0 if field.name.endswith("_ratio") else 0.0
            made[field.name] = np.where(mask, getattr(self, field.name), none)
        return Deviations(**made)


@dataclass(frozen=True)
class Healthy:
    """Healthy levels of one bearing at its nominal speed and 75 % load."""

    nominal_rpm: float
    ultrasound_db: float = 22.0
    acceleration_g: float = 0.6
    kurtosis: float = 3.1
    velocity_mm_s: float = 1.4
    temperature_rise_k: float = 30.0


def _noise(rng: np.random.Generator, n: int, hour: float, day: float) -> FloatArray:
    """Reading-to-reading noise plus a slow part that keeps for about a day and a half."""
    return np.asarray(rng.normal(0.0, hour, n) + red_noise(rng, n, 1.5 * DAY_H, day))


def _speed_db(operation: Operation, healthy: Healthy) -> FloatArray:
    ratio = np.where(operation.running, operation.speed_rpm, healthy.nominal_rpm) / healthy.nominal_rpm
    return np.asarray(DB_PER_DOUBLED_SPEED * np.log2(np.maximum(ratio, 0.01)))


def ultrasound(
    rng: np.random.Generator, operation: Operation, healthy: Healthy, deviations: Deviations, noise_db: float = 0.45
) -> FloatArray:
    """Ultrasound level (dB), shape (n,): +6 dB for doubled speed, 0.02 dB per % load; a low background at standstill.

    ``noise_db`` is the day-to-day standard deviation; readings scatter by 0.6 dB about it.
    """
    n = len(operation.running)
    level = healthy.ultrasound_db + _speed_db(operation, healthy) + 0.02 * (operation.load_pct - 75.0)
    level = level + deviations.ultrasound_db + _noise(rng, n, 0.6, noise_db)
    return np.asarray(np.where(operation.running, level, 3.0 + rng.normal(0.0, 0.5, n)))


def acceleration(
    rng: np.random.Generator, operation: Operation, healthy: Healthy, deviations: Deviations, noise_db: float = 0.2
) -> FloatArray:
    """High-frequency acceleration (g rms), shape (n,): doubles with doubled speed; background at standstill."""
    n = len(operation.running)
    level_db = _speed_db(operation, healthy) + 0.01 * (operation.load_pct - 75.0) + deviations.acceleration_db
    level = healthy.acceleration_g * 10 ** ((level_db + _noise(rng, n, 0.3, noise_db)) / 20)
    return np.asarray(np.where(operation.running, level, 0.004 + np.abs(rng.normal(0.0, 0.001, n))))


def kurtosis(
    rng: np.random.Generator, operation: Operation, healthy: Healthy, deviations: Deviations, noise: float = 0.03
) -> FloatArray:
    """Kurtosis of the acceleration, shape (n,): about 3 whatever the speed and load while the bearing is sound."""
    n = len(operation.running)
    level = healthy.kurtosis * deviations.impulsiveness_ratio * np.exp(_noise(rng, n, 0.05, noise))
    return np.asarray(np.where(operation.running, level, 3.0 + rng.normal(0.0, 0.3, n)))


def velocity(
    rng: np.random.Generator, operation: Operation, healthy: Healthy, deviations: Deviations, noise: float = 0.03
) -> FloatArray:
    """Vibration velocity (mm/s rms), shape (n,): grows with speed and a little with load."""
    n = len(operation.running)
    ratio = 10 ** (_speed_db(operation, healthy) / 20)
    level = healthy.velocity_mm_s * ratio * (1 + 0.003 * (operation.load_pct - 75.0)) * deviations.velocity_ratio
    level = level * np.exp(_noise(rng, n, 0.06, noise))
    return np.asarray(np.where(operation.running, level, 0.06 + np.abs(rng.normal(0.0, 0.01, n))))


def temperature(
    rng: np.random.Generator,
    operation: Operation,
    healthy: Healthy,
    deviations: Deviations,
    ambient_degc: FloatArray,
    noise_k: float = 0.45,
) -> FloatArray:
    """Housing temperature (°C), shape (n,): over ambient by a rise that follows load and speed with a lag of 3 h."""
    speed = np.maximum(operation.speed_rpm, 0.0) / healthy.nominal_rpm
    rise = healthy.temperature_rise_k * (0.55 + 0.45 * operation.load_pct / 75.0) * speed**0.7
    target = ambient_degc + np.where(operation.running, rise, 0.0)
    warm = lagged(operation.running.astype(np.float64), THERMAL_LAG_H)
    n = len(operation.running)
    return np.asarray(lagged(target, THERMAL_LAG_H) + warm * deviations.temperature_k + _noise(rng, n, 0.25, noise_k))


def level(
    quantity: str,
    rng: np.random.Generator,
    operation: Operation,
    healthy: Healthy,
    deviations: Deviations,
    ambient_degc: FloatArray,
) -> FloatArray:
    """One signal of a bearing in its canonical unit, shape (n,). ``quantity`` is one of the signals of the schema."""
    if quantity == "temperature":
        return temperature(rng, operation, healthy, deviations, ambient_degc)
    return _VIBRATION[quantity](rng, operation, healthy, deviations)


_VIBRATION = {"ultrasound": ultrasound, "acceleration": acceleration, "kurtosis": kurtosis, "velocity": velocity}
