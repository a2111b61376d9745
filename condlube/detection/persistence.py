"""Persistence: on how many sound nights in a row the level stood about where it stands tonight."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints


def nights_over(lo: Ints, hi: Ints, residual: Floats, now: Floats, owed: Floats, spread: Floats) -> Ints:
    """Sound nights in a row, tonight included, that deviate to tonight's side by about tonight's deviation or more.

    The nights before tonight are rows ``lo[k]`` to ``hi[k]``; ``owed[k]`` has been taken off ``now[k]``. Two spreads
    are allowed for noise, but never more than half of the deviation: a rise is not denied its second reading because
    the first was a little smaller.
    """
    made = np.ones(len(lo), dtype=np.int64)
    side = np.where(now >= 0.0, 1.0, -1.0)
    least = np.abs(now) - np.minimum(2.0 * spread, 0.5 * np.abs(now))
    going = np.flatnonzero(hi > lo)
    while len(going):
        over = side[going] * (residual[hi[going] - made[going]] - owed[going]) >= least[going]
        going = going[over]
        made[going] += 1
        going = going[hi[going] - made[going] >= lo[going]]
    return made
