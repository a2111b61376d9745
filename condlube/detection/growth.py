"""Growth: how far a raised level rose over its last three or four sound nights, in spreads."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, columns

_NIGHTS = 4


def growth(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, step_share: Floats, over: float, days: int
) -> Floats:
    """Rise of many series over their last nights.

    Series k is rows ``lo[k]`` to ``hi[k]``, its spread ``spread[k]``. The rise is the least-squares slope over the last
    four sound nights (three, where there are no more within ``days`` days) since the last gap of more than half of
    ``days``, for a restart is no growth, times their length, never more than their range, less ``step_share[k]`` of
    what the largest step between two nights has over the second largest: a single step may be that of another load.
    A night under the expected level counts as one at it: what comes back from a fall does not grow. 0 where the mean
    level of the last two nights is not over ``over`` spreads, so that no single night of usual noise grows, or with
    fewer than three nights.
    """
    made = np.zeros(len(lo))
    grown = np.flatnonzero(hi - lo >= 3)
    last = hi[grown] - 1
    grown = grown[residual[last] + residual[last - 1] > 2.0 * over * spread[grown]]
    rows, filled = columns(np.maximum(lo[grown], hi[grown] - _NIGHTS), hi[grown])
    last = hi[grown] - 1
    filled &= day[last][:, None] - day[rows] < days
    gap = (day[rows[:, 1:]] - day[rows[:, :-1]] > days / 2) & filled[:, 1:]
    filled[:, :-1] &= ~np.logical_or.accumulate(gap[:, ::-1], axis=1)[:, ::-1]
    enough = filled.sum(axis=1) >= 3
    grown, rows, filled, last = grown[enough], rows[enough], filled[enough], last[enough]
    if not len(grown):
        return made
    n = filled.sum(axis=1)
    ago = np.where(filled, day[last][:, None] - day[rows], 0).astype(float)
    level = np.where(filled, np.maximum(residual[rows], 0.0), 0.0)
    apart = np.where(filled, ago.sum(axis=1)[:, None] / n[:, None] - ago, 0.0)
    rise = (apart * level).sum(axis=1) / (apart**2).sum(axis=1) * ago.max(axis=1)
    highest = np.where(filled, level, -np.inf).max(axis=1)
    lowest = np.where(filled, level, np.inf).min(axis=1)
    step = np.sort(np.where(filled[:, :-1], np.diff(level, axis=1), 0.0), axis=1)
    alone = step[:, -1] - np.maximum(step[:, -2], 0.0)
    taken = step_share[grown] * np.maximum(alone, 0.0)
    made[grown] = np.maximum(0.0, np.minimum(rise, highest - lowest) - taken) / spread[grown]
    return made
