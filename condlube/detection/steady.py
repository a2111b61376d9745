"""Steady level: how a noisy point's deviation is averaged over its last nights before it counts."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints

_CLEAR = 4.0  # a night that departs from those before by so many spreads stands alone: it is not noise


def steady(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, now: Floats, spread: Floats, aim: Floats, most: Ints
) -> tuple[Floats, Ints]:
    """Mean residual of tonight and the nights before it, and over how many nights.

    As many nights (``most[k]`` at the outside, none older than twice as many days) as bring the spread down to ``aim``;
    one night where the spread is not over it. The nights before tonight are rows ``lo[k]`` to ``hi[k]``.
    """
    mean, count = now.copy(), np.ones(len(lo), dtype=np.int64)
    wanted = np.minimum(most, np.ceil((spread / aim) ** 2 - 1e-9)).astype(np.int64)
    taken = np.flatnonzero((wanted > 1) & (hi > lo))
    total, before = np.zeros(len(lo)), np.zeros(len(lo), dtype=np.int64)
    newest = hi - 1
    while len(taken):
        total[taken] += residual[newest[taken] - before[taken]]
        before[taken] += 1
        row = newest[taken] - before[taken]
        goes_on = (before[taken] < wanted[taken] - 1) & (row >= lo[taken])
        taken, row = taken[goes_on], row[goes_on]
        taken = taken[day[newest[taken]] - day[row] < 2 * wanted[taken]]
    some = np.flatnonzero(before)
    usual = some[np.abs(now[some] - total[some] / before[some]) <= _CLEAR * spread[some]]
    mean[usual] = (total[usual] + now[usual]) / (before[usual] + 1)
    count[usual] = before[usual] + 1
    return mean, count


def averaged_share(count: Ints, correlation: Floats) -> Floats:
    """Variance of the mean of so many nights in a row as a share of that of one night, for AR(1) nights.

    (1 + 2 sum over lags k of (1 - k/n) r^k)/n (Box, Jenkins, Reinsel: Time Series Analysis, 2.1; from memory).
    """
    lag = np.arange(1, count.max(initial=1))
    left = np.maximum(1.0 - lag[None, :] / count[:, None], 0.0)
    share: Floats = (1.0 + 2.0 * (left * correlation[:, None] ** lag[None, :]).sum(axis=1)) / count
    return share
