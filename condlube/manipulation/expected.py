"""Expected level of a measuring point at like operating conditions.

A level is compared on the scale on which its scatter is even: decibels for ultrasound and acceleration, natural
logarithm for velocity, kurtosis and crest factor, kelvin for temperature. On that scale, for the medians of operating
cells,

    level = b0 + b1 (n - n0)/n0 + b2 (L - L0)/L0 + b3 (T - T0)/10 K + sum_k c_k ((n - k)+ - (n0 - k)+)/n0

with shaft speed n, load L and ambient temperature T (through the thermal lag for temperature), their mid-range values
n0, L0, T0 and knots k placed at quantiles of the speeds seen. Coefficients have a weak Gaussian prior, so that a short
or one-sided reference period extrapolates with an honest uncertainty instead of a wild slope. Fitted from the median
by three Huber steps, which settle the slopes, then Tukey weights to convergence. The covariance counts nights, not
cells, and is widened for their correlation.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.kernel import Floats, Ints

HINGES = 5
SIZE = 4 + HINGES  # level, speed, load, ambient, hinges
INSIDE, NEAR, OUTSIDE, UNKNOWN = 0, 1, 2, 3

_AT_ONCE = 1 << 15  # rows that are worked on while they are in the cache
_DECIBEL = ("acceleration",)
_LOGARITHM = ("velocity", "kurtosis", "crest_factor")


def to_scale(quantity: str, value: Floats) -> Floats:
    """Values in canonical units on the scale of comparison; what has no logarithm becomes NaN."""
    value = np.asarray(value, dtype=float)
    if quantity not in _DECIBEL + _LOGARITHM:
        return value
    logarithm = np.log(np.where(value > 0, value, np.nan))
    return logarithm * (20 / np.log(10)) if quantity in _DECIBEL else logarithm


def from_scale(quantity: str, level: Floats) -> Floats:
    """Levels on the scale of comparison back in canonical units."""
    if quantity in _DECIBEL:
        return np.asarray(10 ** (np.asarray(level) / 20))
    return np.exp(level) if quantity in _LOGARITHM else np.asarray(level, dtype=float)


def deviation_of(quantity: str, residual: Floats) -> Floats:
    """A residual on the scale of comparison as a deviation: dB, ratio or K."""
    return np.exp(residual) if quantity in _LOGARITHM else np.asarray(residual, dtype=float)


def residual_of(quantity: str, deviation: float) -> float:
    """A deviation (dB, ratio or K) back on the scale of comparison."""
    return float(np.log(deviation)) if quantity in _LOGARITHM else float(deviation)


class Models(NamedTuple):
    """Fitted expected-level models, a row each; spread and covariance on the scale of comparison."""

    coefficients: Floats  # (r, SIZE)
    covariance: Floats  # (r, SIZE, SIZE)
    knots: Floats  # (r, HINGES), padded with inf
    low: Floats  # (r, 3): speed, load, ambient; NaN where never known
    high: Floats  # (r, 3)
    spread: Floats  # (r,)
    correlation: Floats  # (r,)
    nights: Ints  # (r,)
    cells: Ints  # (r,)


def features(op: Floats, knots: Floats, low: Floats, high: Floats) -> Floats:
    """Design matrix (rows, SIZE) of operating conditions (rows, 3); an unknown variable stands at its mid-range."""
    centre = 0.5 * (low + high)
    unit = np.maximum(np.maximum(np.abs(centre), 0.5 * (high - low)), 1e-9)
    unit[:, 2] = 10.0
    known = np.isfinite(centre) & np.isfinite(op)
    made = np.zeros((len(op), SIZE))
    made[:, 0] = 1.0
    made[:, 1:4] = np.where(known, (op - centre) / unit, 0.0)
    for h in range(HINGES):
        if (knots[:, h] < np.inf).any():
            over = np.maximum(0.0, op[:, 0] - knots[:, h]) - np.maximum(0.0, centre[:, 0] - knots[:, h])
            made[:, 4 + h] = np.where(known[:, 0], over / unit[:, 0], 0.0)
    return made


def predict(models: Models, of: Ints, op: Floats, margins: Floats) -> tuple[Floats, Floats, Ints]:
    """Expected level, its variance, and where the condition lies: INSIDE, NEAR, OUTSIDE or UNKNOWN; a row each.

    Row i is condition ``op[i]`` under model ``of[i]``; ``margins[i]`` tells how far outside the range seen is NEAR:
    shares for speed and load, K for ambient.
    """
    level, variance, place = np.empty(len(of)), np.empty(len(of)), np.empty(len(of), dtype=np.int64)
    for first in range(0, len(of), _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        level[rows], variance[rows], place[rows] = _predict(models, of[rows], op[rows], margins[rows])
    return level, variance, place


def _predict(models: Models, of: Ints, op: Floats, margins: Floats) -> tuple[Floats, Floats, Ints]:
    low, high = models.low[of], models.high[of]
    row = features(op, models.knots[of], low, high)
    level, variance = np.zeros(len(of)), np.zeros(len(of))
    used = np.flatnonzero((row != 0).any(axis=0)).tolist()
    for i in used:
        level += models.coefficients[of, i] * row[:, i]
        variance += row[:, i] ** 2 * models.covariance[of, i, i]
        for j in used[: used.index(i)]:
            variance += 2.0 * row[:, i] * row[:, j] * models.covariance[of, i, j]
    place = np.zeros(len(of), dtype=np.int64)
    for v in range(3):
        bottom, top, now = low[:, v], high[:, v], op[:, v]
        seen, known = np.isfinite(bottom), np.isfinite(now)
        span = top - bottom
        half = 0.05 * span if v == 2 else 0.5 * span / np.maximum(np.abs(top), 1e-9)
        variance += np.where(seen & ~known, (models.coefficients[of, 1 + v] * half) ** 2, 0.0)
        under, over = (margins[:, v] * (1.0 if v == 2 else np.abs(end)) for end in (bottom, top))
        outside = (now < bottom - under) | (now > top + over)
        near = (now < bottom) | (now > top)
        place = np.maximum(place, np.select([seen & outside, seen & near], [OUTSIDE, NEAR], INSIDE))
        if v == 0:
            place[seen & ~known & (span > 0.1 * np.abs(top))] = UNKNOWN
    return level, variance, place
