"""Response to a greasing: held, returned, none or worse, judged only where the level before was raised."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, columns, first_at_least, medians

UNKNOWN, HELD, RETURNED, NO_EFFECT, WORSE = range(5)  # index of words.RESPONSES
_BEFORE_DAYS = 30  # the level before is at most so old


def responses(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, greased: Ints, raised: Floats, before_nights: int,
    settle_days: int, held: float, back: float, back_days: int, worse: float,
) -> Ints:  # fmt: skip
    """Response of many series to a greasing on day ``greased[k]`` (-1: none).

    Before is the median of the last ``before_nights`` nights before it; now the median of the last two nights once
    ``settle_days`` have passed. It fell if a two-night mean since came to at most ``held`` of the level before, and
    returned if a two-night mean within ``back_days`` of the greasing then stood over ``back`` of it and still does.
    """
    made = np.full(len(lo), UNKNOWN)
    asked = np.flatnonzero((greased >= 0) & (hi - lo >= 3))
    low, high, at = lo[asked], hi[asked], greased[asked]
    stop = first_at_least(day, low, high, at)
    begin = np.maximum(stop - before_nights, first_at_least(day, low, high, at - _BEFORE_DAYS))
    settled = first_at_least(day, low, high, at + settle_days)
    before = medians(residual, begin, stop)
    told = (before >= raised[asked]) & (high - settled >= 2)
    asked, high, at, settled, before = asked[told], high[told], at[told], settled[told], before[told]
    after = first_at_least(day, lo[asked], high, at + 1)
    now = 0.5 * (residual[high - 1] + residual[high - 2])
    rows, filled = columns(np.minimum(after + 1, high), high)
    level = np.where(filled, 0.5 * (residual[rows] + residual[np.maximum(rows - 1, 0)]), np.inf)
    low_again = level <= (held * before)[:, None]
    fell_at_once = (residual[after] <= held * before) & (after < settled)
    fallen = np.logical_or.accumulate(low_again, axis=1) | fell_at_once[:, None]
    soon = filled & (day[rows] - at[:, None] <= back_days)
    stands = now >= back * before
    fell = fell_at_once | low_again.any(axis=1)
    returned = (fallen & ~low_again & soon & (level >= (back * before)[:, None])).any(axis=1)
    made[asked] = np.select(
        [now >= before + worse * spread[asked], ~fell & stands, ~fell, returned & stands],
        [WORSE, NO_EFFECT, UNKNOWN, RETURNED],
        HELD,
    )
    return made
