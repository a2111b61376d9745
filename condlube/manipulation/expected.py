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

from condlube.manipulation.kernel import Floats, Ints, kernel

HINGES = 5
SIZE = 4 + HINGES  # level, speed, load, ambient, hinges
INSIDE, NEAR, OUTSIDE, UNKNOWN = 0, 1, 2, 3

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


@kernel
def feature_row(op: Floats, knots: Floats, low: Floats, high: Floats, row: Floats) -> None:
    """Design of one operating condition (3,) into ``row`` (SIZE,); an unknown variable stands at its mid-range."""
    row[:] = 0.0
    row[0] = 1.0
    for v in range(3):
        centre = 0.5 * (low[v] + high[v])
        if np.isfinite(centre) and np.isfinite(op[v]):
            unit = 10.0 if v == 2 else max(max(abs(centre), 0.5 * (high[v] - low[v])), 1e-9)
            row[1 + v] = (op[v] - centre) / unit
            if v == 0:
                for h in range(len(knots)):
                    if knots[h] < np.inf:
                        row[4 + h] = (max(0.0, op[0] - knots[h]) - max(0.0, centre - knots[h])) / unit


@kernel
def features(op: Floats, knots: Floats, low: Floats, high: Floats) -> Floats:
    """Design matrix (rows, SIZE) of operating conditions (rows, 3)."""
    made = np.empty((len(op), SIZE))
    for i in range(len(op)):
        feature_row(op[i], knots[i], low[i], high[i], made[i])
    return made


def predict(models: Models, of: Ints, op: Floats, margins: Floats) -> tuple[Floats, Floats, Ints]:
    """Expected level, its variance, and where the condition lies: INSIDE, NEAR, OUTSIDE or UNKNOWN; a row each.

    Row i is condition ``op[i]`` under model ``of[i]``; ``margins[i]`` tells how far outside the range seen is NEAR:
    shares for speed and load, K for ambient.
    """
    level, variance, place = np.empty(len(of)), np.empty(len(of)), np.empty(len(of), dtype=np.int64)
    _predict(models.coefficients, models.covariance, models.knots, models.low, models.high, of, op, margins, level,
             variance, place)  # fmt: skip
    return level, variance, place


@kernel
def _predict(
    coefficients: Floats, covariance: Floats, knots: Floats, lowest: Floats, highest: Floats, of: Ints, op: Floats,
    margins: Floats, level: Floats, variance: Floats, place: Ints,
) -> None:  # fmt: skip
    row = np.empty(SIZE)
    for k in range(len(of)):
        model, low, high = of[k], lowest[of[k]], highest[of[k]]
        feature_row(op[k], knots[model], low, high, row)
        level[k], variance[k], place[k] = 0.0, 0.0, INSIDE
        for i in range(SIZE):
            if row[i] != 0.0:
                level[k] += coefficients[model, i] * row[i]
                variance[k] += row[i] ** 2 * covariance[model, i, i]
                for j in range(i):
                    variance[k] += 2.0 * row[i] * row[j] * covariance[model, i, j]
        for v in range(3):
            now = op[k, v]
            if not np.isfinite(low[v]):
                continue
            span = high[v] - low[v]
            if not np.isfinite(now):
                half = 0.05 * span if v == 2 else 0.5 * span / max(abs(high[v]), 1e-9)
                variance[k] += (coefficients[model, 1 + v] * half) ** 2
                if v == 0 and span > 0.1 * abs(high[v]):
                    place[k] = UNKNOWN
                continue
            under, over = margins[k, v], margins[k, v]
            if v != 2:
                under, over = under * abs(low[v]), over * abs(high[v])
            if now < low[v] - under or now > high[v] + over:
                place[k] = max(place[k], OUTSIDE)
            elif now < low[v] or now > high[v]:
                place[k] = max(place[k], NEAR)
