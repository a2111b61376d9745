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
def features(op: Floats, knots: Floats, low: Floats, high: Floats, out: Floats) -> None:
    """Row of the design matrix for one operating condition; an unknown variable stands at its mid-range."""
    out[0] = 1.0
    for i in range(1, out.size):
        out[i] = 0.0
    for v in range(3):
        centre = 0.5 * (low[v] + high[v])
        if np.isnan(centre) or np.isnan(op[v]):
            continue
        unit = 10.0 if v == 2 else max(abs(centre), 0.5 * (high[v] - low[v]), 1e-9)
        out[1 + v] = (op[v] - centre) / unit
        if v == 0:
            for h in range(min(knots.size, out.size - 4)):
                if knots[h] < np.inf:
                    out[4 + h] = (max(0.0, op[0] - knots[h]) - max(0.0, centre - knots[h])) / unit


@kernel
def predict(
    coefficients: Floats, covariance: Floats, knots: Floats, low: Floats, high: Floats, op: Floats, margins: Floats,
    row: Floats,
) -> tuple[float, float, int]:  # fmt: skip
    """Expected level, its variance, and where the condition lies: INSIDE, NEAR, OUTSIDE or UNKNOWN.

    ``margins`` tells how far outside the range seen is NEAR: shares for speed and load, K for ambient.
    """
    features(op, knots, low, high, row)
    level = 0.0
    variance = 0.0
    for i in range(row.size):
        level += coefficients[i] * row[i]
        for j in range(row.size):
            variance += row[i] * covariance[i, j] * row[j]
    place = 0
    for v in range(3):
        if np.isnan(low[v]):
            continue
        if np.isnan(op[v]):
            if v == 0 and high[v] - low[v] > 0.1 * abs(high[v]):
                place = 3
            half = 0.05 * (high[v] - low[v]) if v == 2 else 0.5 * (high[v] - low[v]) / max(abs(high[v]), 1e-9)
            variance += (coefficients[1 + v] * half) ** 2
            continue
        near_low = margins[v] if v == 2 else margins[v] * abs(low[v])
        near_high = margins[v] if v == 2 else margins[v] * abs(high[v])
        if op[v] < low[v] - near_low or op[v] > high[v] + near_high:
            place = max(place, 2)
        elif op[v] < low[v] or op[v] > high[v]:
            place = max(place, 1)
    return level, variance, place
