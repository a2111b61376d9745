"""Two clear levels of a signal: the empty band between standstill and running."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints, starts_of

FLOOR = 1e-6  # stands for exact zero on a logarithmic scale: -120 dB


def decibel(value: Floats, amplitude: Bools) -> Floats:
    """Level in dB: ``20 log10`` of an amplitude, the value itself where it is in dB (or K) already."""
    with np.errstate(invalid="ignore"):
        return np.where(amplitude, 20.0 * np.log10(np.maximum(value, FLOOR)), value)


def empty_bands(
    level: Floats, weight: Floats, of: Ints, groups: int, apart: float, between: float, side: float
) -> Floats:
    """Middle of the lowest clear band between two levels of each group, shape (groups,); NaN where there is none.

    Parameters
    ----------
    level, weight, of
        Levels (dB), how many readings each stands for (quarters of readings add up exactly), and the group of each,
        shape (n,).
    apart
        Least width of the band, dB.
    between
        Largest share of all readings of the group inside the band; there are also fewer inside than on either side.
    side
        Least share of all readings on either side.

    A healthy signal with a single mode, however skew, has no band: it would have to be empty inside the mode. With
    several bands the lowest counts, as standstill is the lowest level.
    """
    order = np.lexsort((level, of))
    level, weight, of = level[order], weight[order], of[order]
    start = starts_of(of, groups)
    upto = np.concatenate(([0.0], np.cumsum(weight)))
    top = _first_at_least(level, of, level + apart)  # the first level above the band that begins at each level
    below, above = upto[1:] - upto[start[of]], upto[start[of + 1]] - upto[top]
    inside, total = upto[top] - upto[1:], (upto[start[1:]] - upto[start[:-1]])[of]
    smaller = np.minimum(below, above)
    clear = (top < start[of + 1]) & (smaller >= side * total) & (smaller > 0)
    clear &= (inside <= between * total) & ((inside <= 0) | (inside < smaller))
    found = np.flatnonzero(clear)
    middle = np.full(groups, np.nan)
    group, first = np.unique(of[found], return_index=True)
    lowest = np.full(groups, np.nan)
    lowest[group] = level[found[first]]
    near = found[level[found] <= lowest[of[found]] + apart]
    best = near[np.lexsort((inside[near], of[near]))]
    best = best[np.unique(of[best], return_index=True)[1]]
    middle[group] = 0.5 * (level[best] + level[top[best]])
    return middle


def _first_at_least(level: Floats, of: Ints, least: Floats) -> Ints:
    """For each of ``least`` the first row of its group that is no less, the end of the group if none is.

    ``level`` is sorted within its groups, and the groups stand one after another.
    """
    row = np.arange(len(level) * 2) >= len(level)
    order = np.lexsort((row, np.concatenate((least, level)), np.concatenate((of, of))))
    rows_before = np.cumsum(row[order])
    made = np.empty(len(level), np.int64)
    asked = ~row[order]
    made[order[asked]] = rows_before[asked]
    return made
