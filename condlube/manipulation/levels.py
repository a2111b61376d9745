"""Two clear levels of a signal: the empty band between standstill and running."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, kernel

FLOOR = 1e-6  # stands for exact zero on a logarithmic scale: -120 dB


@kernel
def decibel(value: float, logarithmic: bool) -> float:
    """Level in dB: ``20 log10`` of an amplitude, or the value itself where it is in dB already."""
    if logarithmic:
        return 20.0 * np.log10(max(value, FLOOR))
    return value


@kernel
def empty_band(level: Floats, weight: Floats, apart: float, between: float, side: float) -> float:
    """Middle of the lowest clear band between two groups of levels, NaN if there is none.

    Parameters
    ----------
    level, weight
        Levels (dB) and how many readings each stands for, shape (n,).
    apart
        Least width of the band, dB.
    between
        Largest share of all readings inside the band; there are also fewer inside than on either side.
    side
        Least share of all readings on either side.

    A healthy signal with a single mode, however skew, has no band: it would have to be empty inside the mode. With
    several bands the lowest counts, as standstill is the lowest level.
    """
    n = level.size
    if n < 2 or level.max() - level.min() < apart:
        return np.nan
    order = np.argsort(level, kind="mergesort")
    total = weight.sum()
    best, best_inside, best_top, first = -1, 0.0, 0, 0.0
    below = 0.0
    upto = 0.0  # weight below `top`
    top = 0
    for i in range(n - 1):
        here = level[order[i]]
        below += weight[order[i]]
        while top < n and level[order[top]] < here + apart:
            upto += weight[order[top]]
            top += 1
        if best >= 0 and here > first + apart:
            break
        inside, above = upto - below, total - upto
        if top == n or below < side * total or above < side * total:
            continue
        if inside > between * total or (inside > 0.0 and inside >= min(below, above)):
            continue
        if best < 0:
            first = here
        if best < 0 or inside < best_inside:
            best, best_inside, best_top = i, inside, top
    if best < 0:
        return np.nan
    return 0.5 * (level[order[best]] + level[order[best_top]])
