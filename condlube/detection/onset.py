"""Onset: how and when the present rise began, judged on the rise's own nights.

A ramp (flat, then linear, then flat again) is fitted by least squares to the nights since the level was last low. The
rise is abrupt if a short ramp fits clearly better than any long one: noise alone must not make a slow rise abrupt.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints

NONE, GRADUAL, ABRUPT = 0, 1, 2
_LOW = 0.25  # share of the present level under which an earlier night counts as before the rise
_CLEARLY = 2.0  # squared spreads by which a short ramp must fit better
_LEAD_DAYS = 14  # days before the last low night that show the level before


def onset(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, raised: float, abrupt_days: float
) -> tuple[Ints, Ints]:
    """Onset of many series: code (NONE, GRADUAL, ABRUPT; index of ``words.ONSETS``) and day (-1: none).

    NONE while the last night is under ``raised`` spreads, and where the rise came before the series began, so that
    nothing can be said of it.
    """
    code, date = np.full(len(lo), NONE), np.full(len(lo), -1)
    some = np.flatnonzero(hi > lo)
    for k in some[residual[hi[some] - 1] >= raised * spread[some]].tolist():
        days, level = day[lo[k] : hi[k]], residual[lo[k] : hi[k]]
        now = level[-1]
        if len(level) > 1:
            now = 0.5 * (now + max(level[-2], 0.5 * now))
        low = np.flatnonzero(level <= _LOW * now)
        if not len(low):
            continue
        first = np.searchsorted(days, days[low[-1]] - _LEAD_DAYS)
        code[k], begun = _onset(days[first:], level[first:], spread[k], abrupt_days)
        date[k] = days[first + begun]
    return code, date


def _onset(days: Ints, level: Floats, spread: float, abrupt_days: float) -> tuple[int, int]:
    """Code of one rise, and the night at which the ramp that fits best leaves its lower level."""
    a, b, error = _ramps((days - days[0]).astype(float), level - level.mean())
    short = days[b] - days[a] <= abrupt_days
    best = [np.where(kind, error, np.inf) for kind in (short, ~short)]
    least = [float(errors.min(initial=np.inf)) for errors in best]
    abrupt = least[0] + _CLEARLY * spread**2 < least[1]
    errors, lowest = (best[0], least[0]) if abrupt else (best[1], least[1])
    begun = a[np.flatnonzero(errors <= lowest + 1e-12)[0]] if np.isfinite(lowest) else 0
    return ABRUPT if abrupt else GRADUAL, int(begun)


def _ramps(d: Floats, y: Floats) -> tuple[Ints, Ints, Floats]:
    """All ramps from night a to night b that rise, and their squared errors (inf where they fall); sum of y is 0."""
    n = len(d)
    a, b = np.triu_indices(n, 1)
    days, squares, levels, products = (np.cumsum(v) for v in (d, d * d, y, d * y))
    length, inner, after = d[b] - d[a], b - a - 1.0, n - b * 1.0
    sum_d, sum_dd, sum_y, sum_dy = (s[b - 1] - s[a] for s in (days, squares, levels, products))
    f = (sum_d - inner * d[a]) / length + after
    ff = (sum_dd - 2.0 * d[a] * sum_d + inner * d[a] ** 2) / length**2 + after
    rise = (sum_dy - d[a] * sum_y) / length - levels[b - 1]
    error = (y * y).sum() - rise**2 / (ff - f * f / n)
    return a, b, np.where(rise > 0.0, error, np.inf)
