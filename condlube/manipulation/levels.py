"""Two clear levels of a signal: the empty band between standstill and running."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats

FLOOR = 1e-6  # stands for exact zero on a logarithmic scale: -120 dB


def decibel(value: Floats, amplitude: Bools) -> Floats:
    """Level in dB: ``20 log10`` of an amplitude, the value itself where it is in dB (or K) already."""
    with np.errstate(invalid="ignore"):
        return np.where(amplitude, 20.0 * np.log10(np.maximum(value, FLOOR)), value)


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
    order = np.argsort(level, kind="stable")
    level, weight = level[order], weight[order]
    upto = np.concatenate(([0.0], np.cumsum(weight)))
    top = np.searchsorted(level, level + apart)  # first level above the band that begins at each level
    below, total = upto[1:], upto[-1]
    inside, above = upto[top] - below, total - upto[top]
    smaller = np.minimum(below, above)
    clear = (top < len(level)) & (smaller >= side * total) & (smaller > 0)
    clear &= (inside <= between * total) & ((inside <= 0) | (inside < smaller))
    found = np.flatnonzero(clear)
    if not len(found):
        return float("nan")
    lowest = found[level[found] <= level[found[0]] + apart]
    best = lowest[np.argmin(inside[lowest])]
    return float(0.5 * (level[best] + level[top[best]]))
