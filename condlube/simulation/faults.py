"""What goes wrong in a bearing or its machine: one function per fault, with onset, size and course.

Every function takes ``hours``, the hours since the beginning of the history, shape (n,), and the hour of the onset on
the same clock, and returns the :class:`~condlube.simulation.signals.Deviations` it causes. Sizes are those at full
course. How strongly the signals move together is engineering judgement.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from condlube.simulation.signals import Deviations
from condlube.simulation.timeline import FloatArray

DAY_H = 24.0
GREASED_FALL_H = 1.0
"""A dry bearing quiets within an hour or two of fresh grease."""
FLOOR_LIFE_SHARE = 0.8
"""Share of the grease life after which the film begins to fail audibly."""


def ramp(hours: FloatArray, onset_h: float, days: float) -> FloatArray:
    """0 before the onset, then straight to 1 in ``days``; a step where ``days`` is 0. Shape (n,)."""
    if days <= 0:
        return np.asarray(hours >= onset_h, dtype=np.float64)
    return np.clip((hours - onset_h) / (DAY_H * days), 0.0, 1.0)


def _film(course: FloatArray, ultrasound_db: float, acceleration_db: float, temperature_k: float) -> Deviations:
    return Deviations(
        ultrasound_db=ultrasound_db * course,
        acceleration_db=acceleration_db * course,
        impulsiveness_ratio=1.0 + 0.1 * course,
        temperature_k=temperature_k * course,
    )


def dry(
    hours: FloatArray,
    onset_h: float,
    days: float = 30.0,
    ultrasound_db: float = 9.0,
    acceleration_db: float = 3.5,
    temperature_k: float = 1.5,
    greased_h: Sequence[float] = (),
    returns_days: float = 0.0,
) -> Deviations:
    """The film fails: ultrasound rises over weeks, the rest little. Greasing quiets it.

    ``greased_h`` lists greasings that reach the bearing. With ``returns_days`` the bearing is dry again that long
    after each of them (grease is lost); with none listed, nothing that was done reached it.
    """
    course = ramp(hours, onset_h, days)
    for greased in greased_h:
        after = hours >= greased
        left = course[np.searchsorted(hours, greased)] if greased <= hours[-1] else 0.0
        fallen = left * np.exp(-(hours - greased) / GREASED_FALL_H, where=after, out=np.zeros_like(hours))
        back = ramp(hours, greased + DAY_H * 0.5, returns_days) if returns_days > 0 else 0.0
        course = np.where(after, np.maximum(fallen, back), course)
    return _film(course, ultrasound_db, acceleration_db, temperature_k)


def depletion(life_share: FloatArray, ultrasound_db: float = 8.0, acceleration_db: float = 3.0) -> Deviations:
    """Grease near the end of its life: ultrasound bends up over the last fifth of it.

    ``life_share`` is the share of this filling's true grease life that is used, shape (n,); past 1.25 the bearing
    stays ``ultrasound_db`` over its healthy level.
    """
    course = np.clip((life_share - FLOOR_LIFE_SHARE) / (1.25 - FLOOR_LIFE_SHARE), 0.0, 1.0) ** 1.5
    return _film(course, ultrasound_db, acceleration_db, 1.5)


def warm_up(
    hours: FloatArray, greased_h: float, temperature_k: float = 15.0, rise_h: float = 1.2, decay_h: float = 9.0
) -> Deviations:
    """Fresh grease is worked: the housing warms within some hours and is back after a day or so."""
    since = np.maximum(hours - greased_h, 0.0)
    course = np.exp(-since / decay_h) - np.exp(-since / rise_h)
    peak = np.log(decay_h / rise_h) * rise_h * decay_h / (decay_h - rise_h)
    return Deviations(temperature_k=temperature_k * course / (np.exp(-peak / decay_h) - np.exp(-peak / rise_h)))


def churning(
    hours: FloatArray, greased_h: float, temperature_k: float = 14.0, decay_h: float = 96.0, ultrasound_db: float = -1.0
) -> Deviations:
    """Too much grease: hot and slow to purge, while the ultrasound is quiet, if anything quieter."""
    quiet = ultrasound_db * np.exp(-np.maximum(hours - greased_h, 0.0) / decay_h) * (hours >= greased_h)
    return warm_up(hours, greased_h, temperature_k, 1.5, decay_h) + Deviations(ultrasound_db=quiet)


def spalling(
    hours: FloatArray,
    onset_h: float,
    days: float = 14.0,
    ultrasound_db: float = 18.0,
    acceleration_db: float = 12.0,
    impulsiveness: float = 3.0,
    velocity: float = 1.8,
    temperature_k: float = 6.0,
) -> Deviations:
    """A raceway breaks out: impulses first, then level, growing ever faster; velocity and temperature late."""
    u = ramp(hours, onset_h, days)
    growing = np.expm1(2.5 * u) / np.expm1(2.5)
    late = np.clip((u - 0.5) / 0.5, 0.0, 1.0) ** 2
    return Deviations(
        ultrasound_db=ultrasound_db * growing,
        acceleration_db=acceleration_db * growing,
        impulsiveness_ratio=1.0 + (impulsiveness - 1.0) * np.sqrt(u) * (1 - 0.3 * late),
        velocity_ratio=1.0 + (velocity - 1.0) * late,
        temperature_k=temperature_k * late,
    )


def unbalance(hours: FloatArray, onset_h: float, days: float = 0.0, velocity: float = 2.0) -> Deviations:
    """Build-up, or a lost blade: vibration velocity at once or over ``days``; the bearing itself is quiet."""
    return Deviations(velocity_ratio=1.0 + (velocity - 1.0) * ramp(hours, onset_h, days))


def warm(hours: FloatArray, onset_h: float, days: float = 0.0, temperature_k: float = 10.0) -> Deviations:
    """Heat from outside the bearing: process, a blocked motor fan, a neighbouring pipe."""
    return Deviations(temperature_k=temperature_k * ramp(hours, onset_h, days))


FAULTS: dict[str, Callable[..., Deviations]] = {
    "dry": dry,
    "warm_up": warm_up,
    "churning": churning,
    "spalling": spalling,
    "unbalance": unbalance,
    "warm": warm,
}
