"""Fit of the expected-level model (``expected``) to the cells of many reference periods at once."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.expected import HINGES, SIZE, features
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

_NINE_TENTHS = 0.6230  # mean square of the smaller nine tenths of |z|, z standard normal
_Q80 = 1.2815515655446004  # 80 % quantile of |z|, z standard normal


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
def _trimmed(size: Floats) -> float:
    """Standard deviation from the smaller nine tenths of absolute residuals, at least one left out.

    It sees coarse steps, which quantiles miss where most nights read the same.
    """
    n = size.size
    kept = n - max(1, n // 10)
    if kept < 1:
        return 0.0
    select(size, kept - 1)
    total = 0.0
    for i in range(kept):
        total += size[i] * size[i]
    return float(np.sqrt(total / kept / _NINE_TENTHS))


@kernel
def _night_figures(residual: Floats, weight: Floats, day: Ints, floor: float, used: float) -> tuple[int, float, float]:
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
    spread = max(middle, outer)
    rough = _trimmed(size[:count])
    spread = max(spread, min(rough, 1.5 * spread) if spread > 0.5 * floor else rough)
    free = max(count - used, 1.0)
    spread *= np.sqrt(count / free) * (1.0 + 1.5 / count)
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
        for j in range(1, p):  # start at the median about the effects believed before: no outlier can pull it
            beta[j] = prior[j]
        for i in range(n):
            residual[i] = y[lo + i]
            for j in range(1, p):
                residual[i] -= x[i, j] * beta[j]
        beta[0] = median(residual)
        for kind in (HUBER, TUKEY):
            tuning, steps = (HUBER_TUNING, 3) if kind == HUBER else (TUKEY_TUNING, 50)
            scale = irls(
                x, y[lo:hi], weight[lo:hi], prior, precision, smallest, kind, tuning, 1e-6, steps, beta, weights, False
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
