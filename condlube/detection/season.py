"""Season: what a temperature without an ambient signal owes to the time of the year and to the weather."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints, columns, first_at_least, medians

_FROM, _TO = 40, 8  # days before tonight between which the season is read: a rise of this week is not taken for it
_FEWEST = 5


def season(lo: Ints, hi: Ints, day: Ints, residual: Floats, night: Ints, most: float) -> Floats:
    """Part of tonight's residual that belongs to the season: the median one of the month before last week.

    Never more than ``most`` either way; 0 with fewer than five nights in that month. The nights before tonight are rows
    ``lo[k]`` to ``hi[k]``.
    """
    first = first_at_least(day, lo, hi, night - _FROM)
    stop = first_at_least(day, lo, hi, night - _TO + 1)
    usual = np.where(stop - first >= _FEWEST, medians(residual, first, stop), 0.0)
    return np.clip(usual, -most, most)


def shared_warmth(machine: Ints, night: Ints, bearing: Ints, over: Floats, asked: Bools, most: float) -> Floats:
    """What each row is over its expected temperature and the other bearings of its machine are as well on the night:
    weather, load or process, never more than ``most``.

    It is the middle of the other bearings' rows, where that is positive, and no more than the row's own. Only rows that
    are ``asked`` have any, and count for the others; ``machine`` is -1 where there is none.
    """
    made = np.zeros(len(over))
    rows = np.flatnonzero(asked & (machine >= 0))
    rows = rows[np.lexsort((night[rows], machine[rows]))]
    begins = (np.diff(machine[rows], prepend=-1) != 0) | (np.diff(night[rows], prepend=-1) != 0)
    start = np.append(np.flatnonzero(begins), len(rows))
    several = np.diff(start) > 1
    place, filled = columns(start[:-1][several], start[1:][several])
    if not place.size:
        return made
    level, whose = np.where(filled, over[rows[place]], np.inf), np.where(filled, bearing[rows[place]], -1)
    for k in range(place.shape[1]):
        others = filled & (whose != whose[:, [k]])
        count = others.sum(axis=1)
        told = filled[:, k] & (count > 0)
        ordered = np.sort(np.where(others, level, np.inf)[told], axis=1)
        line, low, high = np.arange(int(told.sum())), (count[told] - 1) // 2, count[told] // 2
        middle = 0.5 * (ordered[line, low] + ordered[line, high])
        made[rows[place[told, k]]] = np.clip(np.minimum(middle, level[told, k]), 0.0, most)
    return made
