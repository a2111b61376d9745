"""Onset: how and when the present rise began, judged on the rise's own nights.

A ramp (flat, then linear, then flat again) is fitted by least squares to the nights since the level was last low. The
rise is abrupt if a short ramp fits clearly better than any long one: noise alone must not make a slow rise abrupt.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel

NONE, GRADUAL, ABRUPT = 0, 1, 2
_LOW = 0.25  # share of the present level under which an earlier night counts as before the rise
_CLEARLY = 2.0  # squared spreads by which a short ramp must fit better
_LEAD_DAYS = 14  # days before the last low night that show the level before


@kernel
def onset(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, raised: float, abrupt_days: float
) -> tuple[Ints, Ints]:
    """Onset of many series: code (NONE, GRADUAL, ABRUPT; index of ``words.ONSETS``) and day (-1: none).

    NONE while the last night is under ``raised`` spreads, and where the rise came before the series began, so that
    nothing can be said of it.
    """
    code = np.zeros(lo.size, dtype=np.int64)
    date = np.full(lo.size, -1)
    for k in range(lo.size):
        n = hi[k] - lo[k]
        if n < 1 or residual[hi[k] - 1] < raised * spread[k]:
            continue
        last = hi[k] - 1
        now = residual[last]
        if n > 1:
            now = 0.5 * (now + max(residual[last - 1], 0.5 * now))
        low = last
        while low >= lo[k] and residual[low] > _LOW * now:
            low -= 1
        if low < lo[k]:
            continue
        first = low
        while first > lo[k] and day[low] - day[first - 1] <= _LEAD_DAYS:
            first -= 1
        short, short_error, long, long_error = _ramps(day, residual, first, last, abrupt_days)
        abrupt = short_error + _CLEARLY * spread[k] ** 2 < long_error
        code[k] = ABRUPT if abrupt else GRADUAL
        date[k] = day[short if abrupt else long]
    return code, date


@kernel
def _ramps(day: Ints, residual: Floats, first: int, last: int, abrupt_days: float) -> tuple[int, float, int, float]:
    """Row at which the best short ramp leaves its lower level and its squared error; the same for the best long one."""
    short = first
    short_error = np.inf
    long = first
    long_error = np.inf
    for a in range(first, last):
        for b in range(a + 1, last + 1):
            n = 0.0
            sf = 0.0
            sff = 0.0
            sy = 0.0
            syy = 0.0
            sfy = 0.0
            for i in range(first, last + 1):
                f = min(max((day[i] - day[a]) / (day[b] - day[a]), 0.0), 1.0)
                y = residual[i]
                n += 1.0
                sf += f
                sff += f * f
                sy += y
                syy += y * y
                sfy += f * y
            bottom = sff - sf * sf / n
            rise = sfy - sf * sy / n
            if bottom <= 0.0 or rise <= 0.0:
                continue
            error = syy - sy * sy / n - rise * rise / bottom
            if day[b] - day[a] <= abrupt_days:
                if error < short_error - 1e-12:
                    short_error = error
                    short = a
            elif error < long_error - 1e-12:
                long_error = error
                long = a
    return short, short_error, long, long_error
