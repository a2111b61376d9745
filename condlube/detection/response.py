"""Response to a greasing: held, returned, none or worse, judged only where the level before was raised."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import median

UNKNOWN, HELD, RETURNED, NO_EFFECT, WORSE = range(5)  # index of words.RESPONSES
_BEFORE_DAYS = 30  # the level before is at most so old


@kernel
def responses(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, greased: Ints, raised: Floats, before_nights: int,
    settle_days: int, held: float, back: float, back_days: int, worse: float,
) -> Ints:  # fmt: skip
    """Response of many series to a greasing on day ``greased[k]`` (-1: none).

    Before is the median of the last ``before_nights`` nights before it; now the median of the last two nights once
    ``settle_days`` have passed. It fell if a two-night mean since came to at most ``held`` of the level before, and
    returned if a two-night mean within ``back_days`` of the greasing then stood over ``back`` of it and still does.
    """
    made = np.zeros(lo.size, dtype=np.int64)
    for k in range(lo.size):
        if greased[k] < 0 or hi[k] - lo[k] < 3:
            continue
        first = lo[k]
        while first < hi[k] and day[first] < greased[k]:
            first += 1
        begin = first
        while begin > lo[k] and first - begin < before_nights and greased[k] - day[begin - 1] <= _BEFORE_DAYS:
            begin -= 1
        while first < hi[k] and day[first] <= greased[k]:
            first += 1
        settled = first
        while settled < hi[k] and day[settled] < greased[k] + settle_days:
            settled += 1
        stop = begin
        while stop < hi[k] and day[stop] < greased[k]:
            stop += 1
        if stop == begin or hi[k] - settled < 2:
            continue
        before = median(residual[begin:stop].copy())
        if before < raised[k]:
            continue
        now = 0.5 * (residual[hi[k] - 1] + residual[hi[k] - 2])
        fell = residual[first] <= held * before and first < settled
        returned = False
        for i in range(first + 1, hi[k]):
            level = 0.5 * (residual[i] + residual[i - 1])
            if level <= held * before:
                fell = True
            elif fell and level >= back * before and day[i] - greased[k] <= back_days:
                returned = True
        if now >= before + worse * spread[k]:
            made[k] = WORSE
        elif not fell:
            made[k] = NO_EFFECT if now >= back * before else UNKNOWN
        elif returned and now >= back * before:
            made[k] = RETURNED
        else:
            made[k] = HELD
    return made
