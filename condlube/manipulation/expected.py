"""Expected level of a measuring point at like operating conditions.

A level is compared on the scale on which its scatter is even: decibels for ultrasound and acceleration, natural
logarithm for velocity, kurtosis and crest factor, kelvin for temperature. On that scale, for the medians of operating
cells,

    level = b0 + b1 (n - n0)/n0 + b2 (L - L0)/L0 + b3 (T - T0)/10 K + sum_k c_k ((n - k)+ - (n0 - k)+)/n0

with shaft speed n, load L and ambient temperature T (through the thermal lag for temperature), their mid-range values
n0, L0, T0 and knots k placed at quantiles of the speeds seen. Coefficients have a weak Gaussian prior, so that a short
or one-sided reference period extrapolates with an honest uncertainty instead of a wild slope. Fitted by Huber, then
Tukey weights. The covariance counts nights, not cells, and is widened for their correlation.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import (
    HUBER,
    HUBER_TUNING,
    MAD_TO_SD,
    TUKEY,
    TUKEY_TUNING,
    irls,
    median,
    select,
    solve_positive,
)

HINGES = 5
SIZE = 4 + HINGES  # level, speed, load, ambient, hinges
INSIDE, NEAR, OUTSIDE, UNKNOWN = 0, 1, 2, 3

_DECIBEL = ("acceleration",)
_LOGARITHM = ("velocity", "kurtosis", "crest_factor")
_Q80 = 1.2815515655446004  # 80 % quantile of |z|, z standard normal


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


@kernel
def _place_knots(op: Floats, nights: int, out: Floats) -> int:
    """Knots at quantiles of the speeds seen: more over a wider range and with more data, none for a fixed speed."""
    known = np.empty(op.shape[0])
    n = 0
    for i in range(op.shape[0]):
        if not np.isnan(op[i, 0]):
            known[n] = op[i, 0]
            n += 1
    if n < 10:
        return 0
    first = select(known[:n], 0)
    top = select(known[:n], n - 1)
    span = top - first
    if top <= 0.0:
        return 0
    count = min(out.size, n // 10, nights // 5, int(span / top / 0.12))
    placed = 0
    last = first
    for k in range(count):
        knot = select(known[:n], (k + 1) * n // (count + 1))
        if knot - last > 0.05 * span and top - knot > 0.05 * span:
            out[placed] = knot
            placed += 1
            last = knot
    return placed


@kernel
def _night_figures(
    residual: Floats, weight: Floats, day: Ints, floor: float, used: float
) -> tuple[int, float, float]:
    """Night count, robust day-to-day spread with its small-sample allowance, and lag-one correlation."""
    n = residual.size
    night = np.empty(n)
    size = np.empty(n)
    date = np.empty(n, dtype=np.int64)
    count = 0
    i = 0
    while i < n:
        total = 0.0
        mass = 0.0
        j = i
        while j < n and day[j] == day[i]:
            total += weight[j] * residual[j]
            mass += weight[j]
            j += 1
        night[count] = total / mass
        size[count] = abs(night[count])
        date[count] = day[i]
        count += 1
        i = j
    middle = median(size[:count]) / MAD_TO_SD
    outer = select(size[:count], min(count - 1, int(0.8 * count))) / _Q80
    free = max(count - used, 1.0)
    spread = max(middle, outer) * np.sqrt(count / free) * (1.0 + 1.5 / count)
    cap = 2.5 * max(spread, 1e-12)
    top = 0.0
    bottom = 0.0
    pairs = 0
    before = 0.0
    for k in range(count):
        here = min(max(night[k], -cap), cap)
        bottom += here * here
        if k > 0 and date[k] - date[k - 1] <= 2:
            top += here * before
            pairs += 1
        before = here
    raw = top / bottom if bottom > 0.0 else 0.0
    raw += (1.0 + 3.0 * raw) / count  # small-sample bias of the lag-one estimate (Marriott and Pope 1954)
    correlation = (0.3 * 10.0 + raw * pairs) / (10.0 + pairs)  # shrunk towards 0.3 with the weight of ten nights
    return count, max(spread, floor), min(max(correlation, 0.0), 0.9)


@kernel
def _covariance(x: Floats, weights: Floats, scale: float, precision: Floats, widen: float, out: Floats) -> None:
    """s2 (X'WX/widen + s2 P)^-1 to the leading block of ``out``; unused coefficients get variance 0."""
    n, p = x.shape
    a = np.empty((p, p))
    unit = np.empty(p)
    for column in range(p):
        for j in range(p):
            for k in range(j + 1):
                total = 0.0
                for i in range(n):
                    total += weights[i] * x[i, j] * x[i, k]
                a[j, k] = total / widen
            a[j, j] += scale * scale * precision[j]
            unit[j] = scale * scale if j == column else 0.0
        solve_positive(a, unit, out[column, :p])


@kernel
def fit_references(
    start: Ints, y: Floats, op: Floats, weight: Floats, day: Ints, mean: Floats, sd: Floats, floor: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Ints, Ints]:
    """Models of many reference periods whose cells lie one after another, ordered by day.

    Parameters
    ----------
    start
        Task t is rows ``start[t]`` to ``start[t + 1]``.
    y, op, weight, day
        Level on the scale of comparison, operating condition (rows, 3), weight (those of a night add up to 1), day
        number.
    mean, sd
        Prior of speed, load and ambient effect per task (tasks, 3).
    floor
        Smallest spread per task.

    Returns
    -------
    The fields of ``Models``, in order.
    """
    tasks = start.size - 1
    coefficients = np.zeros((tasks, SIZE))
    covariance = np.zeros((tasks, SIZE, SIZE))
    knots = np.full((tasks, HINGES), np.inf)
    low = np.full((tasks, 3), np.nan)
    high = np.full((tasks, 3), np.nan)
    spread = np.zeros(tasks)
    correlation = np.zeros(tasks)
    nights = np.zeros(tasks, dtype=np.int64)
    prior = np.zeros(SIZE)
    precision = np.zeros(SIZE)
    for t in range(tasks):
        lo, hi = start[t], start[t + 1]
        n = hi - lo
        if n == 0:
            continue
        different = 1
        for i in range(lo, hi):
            if i > lo and day[i] != day[i - 1]:
                different += 1
            for v in range(3):
                if not np.isnan(op[i, v]):
                    if np.isnan(low[t, v]):
                        low[t, v] = op[i, v]
                        high[t, v] = op[i, v]
                    low[t, v] = min(low[t, v], op[i, v])
                    high[t, v] = max(high[t, v], op[i, v])
        p = 4 + _place_knots(op[lo:hi], different, knots[t])
        x = np.empty((n, p))
        for i in range(n):
            features(op[lo + i], knots[t], low[t], high[t], x[i])
        for v in range(3):
            prior[1 + v] = 0.0 if np.isnan(low[t, v]) else mean[t, v]
            precision[1 + v] = sd[t, v] ** -2
        for h in range(HINGES):
            precision[4 + h] = (2.0 * sd[t, 0]) ** -2
        weights = np.empty(n)
        residual = np.empty(n)
        beta = coefficients[t, :p]
        smallest = 0.3 * floor[t]
        scale = 0.0
        for kind in (HUBER, TUKEY):
            tuning = HUBER_TUNING if kind == HUBER else TUKEY_TUNING
            scale = irls(
                x, y[lo:hi], weight[lo:hi], prior, precision, smallest, kind, tuning, 1e-6, 30, beta, weights,
                kind == HUBER,
            )  # fmt: skip
        for i in range(n):
            residual[i] = y[lo + i]
            for j in range(p):
                residual[i] -= x[i, j] * beta[j]
        # effective number of coefficients: trace of (X'WX + s2 P)^-1 X'WX = p - trace of s2 (X'WX + s2 P)^-1 P
        _covariance(x, weights, scale, precision, 1.0, covariance[t])
        used = 1.0 * p
        for j in range(p):
            used -= covariance[t, j, j] * precision[j]
        nights[t], spread[t], correlation[t] = _night_figures(residual, weight[lo:hi], day[lo:hi], floor[t], used)
        rho = correlation[t]
        widen = (1.0 + rho) / (1.0 - rho)
        _covariance(x, weights, scale, precision, widen, covariance[t])
    cells = start[1:] - start[:-1]
    return coefficients, covariance, knots, low, high, spread, correlation, nights, cells
