"""Growth: how far a raised level rose over its last three or four sound nights, in spreads."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel


@kernel
def growth(lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, over: float, days: int) -> Floats:
    """Rise of many series over their last nights.

    Series k is rows ``lo[k]`` to ``hi[k]``, its spread ``spread[k]``. The rise is the least-squares slope over the last
    four sound nights (three, where there are no more within ``days`` days) times their length, never more than their
    range. 0 where the mean level of the last two nights is not over ``over`` spreads, so that no single night of usual
    noise grows, or with fewer than three nights.
    """
    made = np.zeros(lo.size)
    for k in range(lo.size):
        end = hi[k]
        if end - lo[k] < 3 or residual[end - 1] + residual[end - 2] <= 2.0 * over * spread[k]:
            continue
        first = end - 1
        while first > lo[k] and end - first < 4 and day[end - 1] - day[first - 1] < days:
            first -= 1
        n = end - first
        if n < 3:
            continue
        mean_day = 0.0
        mean = 0.0
        lowest = np.inf
        highest = -np.inf
        for i in range(first, end):
            mean_day += (day[i] - day[first]) / n
            mean += residual[i] / n
            lowest = min(lowest, residual[i])
            highest = max(highest, residual[i])
        top = 0.0
        bottom = 0.0
        for i in range(first, end):
            apart = day[i] - day[first] - mean_day
            top += apart * (residual[i] - mean)
            bottom += apart * apart
        rise = top / bottom * (day[end - 1] - day[first])
        made[k] = max(0.0, min(rise, highest - lowest)) / spread[k]
    return made
