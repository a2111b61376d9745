"""Season: what a temperature without an ambient signal owes to the time of the year."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, first_at_least, medians

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
