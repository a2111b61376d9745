"""Persistence: on how many sound nights in a row the level stood about where it stands tonight."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel


@kernel
def nights_over(lo: Ints, hi: Ints, residual: Floats, now: Floats, spread: Floats) -> Ints:
    """Sound nights in a row, tonight included, that deviate to tonight's side by about tonight's deviation or more.

    The nights before tonight are rows ``lo[k]`` to ``hi[k]``. Two spreads are allowed for noise, but never more than
    half of the deviation: a rise is not denied its second reading because the first was a little smaller.
    """
    made = np.ones(lo.size, dtype=np.int64)
    for k in range(lo.size):
        side = 1.0 if now[k] >= 0.0 else -1.0
        least = abs(now[k]) - min(2.0 * spread[k], 0.5 * abs(now[k]))
        i = hi[k] - 1
        while i >= lo[k] and side * residual[i] >= least:
            made[k] += 1
            i -= 1
    return made
