"""Fit of the expected-level model (``expected``) to the cells of many reference periods at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.expected import HINGES, SIZE, Models, features
from condlube.manipulation.kernel import Floats, Ints, quantile, sort_stretches, starts_of
from condlube.manipulation.robust import HUBER, HUBER_TUNING, MAD_TO_SD, TUKEY, TUKEY_TUNING, irls, solve_positive

_NINE_TENTHS = 0.6230  # mean square of the smaller nine tenths of |z|, z standard normal
_Q80 = 1.2815515655446004  # 80 % quantile of |z|, z standard normal
_TOLERANCE = 1e-6


class Nights(NamedTuple):
    """What the night residuals of each period tell: how many, their spread, their lag-one correlation."""

    number: Ints
    spread: Floats
    correlation: Floats


def fit_references(
    start: Ints, y: Floats, op: Floats, weight: Floats, day: Ints, mean: Floats, sd: Floats, floor: Floats
) -> Models:
    """Models of many reference periods whose cells lie one after another, ordered by day.

    Parameters
    ----------
    start
        Task t is rows ``start[t]`` to ``start[t + 1]``, at least one.
    y, op, weight, day
        Level on the scale of comparison, operating condition (rows, 3), weight (those of a night add up to 1), day
        number.
    mean, sd
        Prior of speed, load and ambient effect per task (tasks, 3).
    floor
        Smallest spread per task.
    """
    cells = np.diff(start)
    tasks = len(cells)
    task = np.repeat(np.arange(tasks), cells)
    low, high = (bound.reduceat(op, start[:-1]) if tasks else np.empty((0, 3)) for bound in (np.fmin, np.fmax))
    night = np.cumsum((np.diff(day, prepend=0) != 0) | (np.diff(task, prepend=-1) != 0)) - 1
    first = np.flatnonzero(np.diff(night, prepend=-1))
    knots = _knots(task, op[:, 0], np.bincount(task[first], minlength=tasks))
    size = 4 + (knots < np.inf).sum(axis=1)
    x = features(op, knots[task], low[task], high[task])
    prior, precision = np.zeros((tasks, SIZE)), np.zeros((tasks, SIZE))
    prior[:, 1:4] = np.where(np.isnan(low), 0.0, mean)
    precision[:, 1:4] = sd**-2
    precision[:, 4:] = (2.0 * sd[:, :1]) ** -2
    precision[np.arange(SIZE) >= size[:, None]] = 0.0
    beta = prior.copy()  # start at the median about the effects believed before: no outlier can pull it
    beta[:, 0] = quantile(sort_stretches(_residual(y, x, beta[task]), start), start, 0.5)
    weights = np.empty(len(y))
    for kind, tuning, steps in ((HUBER, HUBER_TUNING, 3), (TUKEY, TUKEY_TUNING, 50)):
        scale, information = irls(
            start, x, y, weight, size, prior, precision, 0.3 * floor, beta, weights, kind, tuning, _TOLERANCE, steps
        )
    # effective number of coefficients: trace of (X'WX + s2 P)^-1 X'WX = p - trace of s2 (X'WX + s2 P)^-1 P
    variance = np.diagonal(_covariance(information, scale, precision, np.ones(tasks)), axis1=1, axis2=2)
    nights = _nights(
        task, night, first, day, _residual(y, x, beta[task]), weight, floor, size - (variance * precision).sum(axis=1)
    )
    covariance = _covariance(information, scale, precision, (1 + nights.correlation) / (1 - nights.correlation))
    return Models(
        beta, covariance, knots, low, high, nights.spread, nights.correlation, nights.number, cells.astype(np.int64)
    )


def _residual(y: Floats, x: Floats, beta: Floats) -> Floats:
    made = y.copy()
    for j in range(SIZE):
        made -= x[:, j] * beta[:, j]
    return made


def _knots(task: Ints, speed: Floats, nights: Ints) -> Floats:
    """Knots at quantiles of the speeds seen: more over a wider range and with more data, none for a fixed speed."""
    made = np.full((len(nights), HINGES), np.inf)
    known = np.isfinite(speed)
    start = starts_of(task[known], len(nights))
    ordered = sort_stretches(speed[known], start)
    found = np.diff(start)
    enough = np.flatnonzero(found >= 10)
    begin, n = start[enough], found[enough]
    first, top = ordered[begin], ordered[begin + n - 1]
    span = top - first
    room = np.where(top > 0.0, span / np.where(top > 0.0, top, 1.0) / 0.12, 0.0).astype(np.int64)
    count = np.minimum(np.minimum(HINGES, n // 10), np.minimum(nights[enough] // 5, room))
    placed, last = np.zeros(len(enough), dtype=np.int64), first
    for k in range(HINGES):
        knot = ordered[begin + np.minimum((k + 1) * n // (count + 1), n - 1)]
        good = (k < count) & (knot - last > 0.05 * span) & (top - knot > 0.05 * span)
        made[enough[good], placed[good]] = knot[good]
        placed, last = placed + good, np.where(good, knot, last)
    return made


def _nights(
    task: Ints, night: Ints, first: Ints, day: Ints, residual: Floats, weight: Floats, floor: Floats, used: Floats
) -> Nights:
    """Night count, robust day-to-day spread with its small-sample allowance, and lag-one correlation."""
    tasks = len(floor)
    of, date = task[first], day[first]
    mean = np.bincount(night, weight * residual) / np.bincount(night, weight)
    start = starts_of(of, tasks)
    count = np.diff(start)
    size = sort_stretches(np.abs(mean), start)
    middle = quantile(size, start, 0.5) / MAD_TO_SD
    outer = size[start[:-1] + np.minimum(count - 1, (0.8 * count).astype(np.int64))] / _Q80
    spread = np.maximum(middle, outer)
    # the root mean square of the smaller nine tenths, at least one left out, sees coarse steps, which quantiles miss
    kept = count - np.maximum(1, count // 10)
    smaller = np.arange(len(size)) - start[of] < kept[of]
    rough = np.sqrt(np.bincount(of, np.where(smaller, size**2, 0.0), tasks) / np.maximum(kept, 1) / _NINE_TENTHS)
    spread = np.maximum(spread, np.where(spread > 0.5 * floor, np.minimum(rough, 1.5 * spread), rough))
    spread *= np.sqrt(count / np.maximum(count - used, 1.0)) * (1.0 + 1.5 / count)
    cap = 2.5 * np.maximum(spread, 1e-12)[of]
    here = np.clip(mean, -cap, cap)
    near = (np.diff(of) == 0) & (np.diff(date) <= 2)
    pairs = np.bincount(of[1:], near, tasks)
    top = np.bincount(of[1:], np.where(near, here[1:] * here[:-1], 0.0), tasks)
    bottom = np.bincount(of, here**2, tasks)
    raw = np.where(bottom > 0.0, top / np.where(bottom > 0.0, bottom, 1.0), 0.0)
    raw += (1.0 + 3.0 * raw) / count  # small-sample bias of the lag-one estimate (Marriott and Pope 1954)
    correlation = (0.3 * 10.0 + raw * pairs) / (10.0 + pairs)  # shrunk towards 0.3 with the weight of ten nights
    return Nights(count, np.maximum(spread, floor), np.clip(correlation, 0.0, 0.9))


def _covariance(information: Floats, scale: Floats, precision: Floats, widen: Floats) -> Floats:
    """s2 (X'WX/widen + s2 P)^-1; unused coefficients have variance 0."""
    p = information.shape[1]
    a = information / widen[:, None, None]
    a[:, np.arange(p), np.arange(p)] += (scale**2)[:, None] * precision
    return solve_positive(a, (scale**2)[:, None, None] * np.eye(p))
