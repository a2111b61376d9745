"""Grease through the years: life used along a history, and when a plant that follows the handbook greases."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condlube.lubrication.factors import contamination_factor, design_factor, moisture_factor, position_factor
from condlube.lubrication.life_distribution import life_at
from condlube.lubrication.temperature import temperature_multiplier
from condlube.lubrication.trade import trade_interval
from condlube.simulation.timeline import BoolArray, FloatArray

HOURS_PER_MONTH = 365.25 * 24 / 12
STANDING_MONTHS = {"sheltered": 24.0, "exposed": 12.0}
"""How long grease lasts in a bearing that stands still (common practice): dry indoors; outdoors or humid."""


@dataclass(frozen=True)
class Conditions:
    """What sets the relubrication interval of one bearing; ``manual_interval_h`` (L01) goes first where given."""

    bearing_type: str
    bore_mm: float
    contamination: str = "light_nonabrasive"
    moisture: str = "dry"
    orientation: str = "horizontal"
    manual_interval_h: float | None = None


def interval_h(conditions: Conditions, speed_rpm: FloatArray, ring_degc: FloatArray) -> FloatArray:
    """t_f (running hours) hour by hour, shape (n,): trade formula, halved per 15 K of ring temperature over 70 °C."""
    if conditions.manual_interval_h is not None:
        base = np.full_like(speed_rpm, conditions.manual_interval_h)
    else:
        factor = (
            design_factor(conditions.bearing_type)
            * contamination_factor(conditions.contamination)
            * moisture_factor(conditions.moisture)
            * position_factor(conditions.orientation)
        )
        base = trade_interval(speed_rpm, conditions.bore_mm, factor).value
    return np.asarray(base * temperature_multiplier(ring_degc))


def life_used(interval: FloatArray, running: BoolArray, standing_months: float) -> FloatArray:
    """Running total of the share of the interval used up, at the end of each hour, shape (n,).

    A running hour uses 1/t_f. Standing, grease lasts ``standing_months``.
    """
    return np.cumsum(np.where(running, 1.0 / interval, 1.0 / (standing_months * HOURS_PER_MONTH)))


def greasing_hours(used: FloatArray, x_end: float, steps: FloatArray) -> FloatArray:
    """Hours at which a bearing was greased so that ``x_end`` intervals are used up at the end.

    Goes back from the end by ``steps`` intervals, cyclically, until before the beginning; the pace before it is the
    mean pace of the history. Hours since the beginning, ascending; the first is negative or zero.
    """
    pace = used[-1] / len(used)
    marks = [float(used[-1]) - x_end]
    k = 0
    while marks[-1] > 0:
        marks.append(marks[-1] - float(steps[k % len(steps)]))
        k += 1
    ascending = np.array(marks[::-1])
    hours = np.arange(1, len(used) + 1, dtype=np.float64)
    inside = np.interp(ascending, used, hours)
    return np.where(ascending <= 0, ascending / pace if pace > 0 else 0.0, inside)


def life_since(used: FloatArray, greased_h: FloatArray) -> FloatArray:
    """Intervals used up since the last of the greasings, hour by hour, shape (n,)."""
    hours = np.arange(1, len(used) + 1, dtype=np.float64)
    pace = used[-1] / len(used)
    at = np.where(greased_h <= 0, greased_h * pace, np.interp(greased_h, hours, used))
    last = np.searchsorted(greased_h, hours, side="right") - 1
    return np.asarray(used - np.where(last >= 0, at[np.maximum(last, 0)], 0.0))


def grease_life(rng: np.random.Generator, n: int) -> FloatArray:
    """True grease lives in intervals t_f, shape (n,): 1 % are out by 1, 10 % by 2.7; the longest 0.1 % are left out."""
    return life_at(rng.uniform(1e-6, 99.9, n), 1.0)
