"""Onset: how and when the present rise began, judged on the rise's own nights.

A ramp (flat, then linear, then flat again) is fitted by least squares to the nights since the level was last low; its
length tells gradual from abrupt.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel

NONE, GRADUAL, ABRUPT = 0, 1, 2
_LOW = 0.25  # share of the present level under which an earlier night counts as before the rise
_LEAD_DAYS = 14  # days before the last low night that show the level before


@kernel
def onset(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, raised: float, abrupt_days: float
) -> tuple[Ints, Ints]:
    """Onset of many series: code (NONE, GRADUAL, ABRUPT; index of ``words.ONSETS``) and day (-1: none).

    NONE while the last night is under ``raised`` spreads, and where the rise came before the series began so recently
    that nothing can be said of it.
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
            if day[last] - day[lo[k]] >= 2 * abrupt_days:
                code[k] = GRADUAL
                date[k] = day[lo[k]]
            continue
        first = low
        while first > lo[k] and day[low] - day[first - 1] <= _LEAD_DAYS:
            first -= 1
        start, end = _ramp(day, residual, first, last)
        date[k] = day[start]
        code[k] = ABRUPT if day[end] - day[start] <= abrupt_days else GRADUAL
    return code, date


@kernel
def _ramp(day: Ints, residual: Floats, first: int, last: int) -> tuple[int, int]:
    """Rows at which the best-fitting ramp leaves its lower and reaches its upper level."""
    best = np.inf
    start = first
    end = last
    for a in range(first, last):
        for b in range(a + 1, last + 1):
            n = 0.0
            sf = sff = sy = syy = sfy = 0.0
            for i in range(first, last + 1):
                f = (day[i] - day[a]) / (day[b] - day[a])
                f = min(max(f, 0.0), 1.0)
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
            if error < best - 1e-12:
                best = error
                start = a
                end = b
    return start, end
