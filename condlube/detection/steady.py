"""Steady level: how a noisy point's deviation is averaged over its last nights before it counts."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel

_CLEAR = 4.0  # a night that departs from those before by so many spreads stands alone: it is not noise


@kernel
def steady(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, now: Floats, spread: Floats, aim: Floats, most: Ints
) -> tuple[Floats, Ints]:
    """Mean residual of tonight and the nights before it, and over how many nights.

    As many nights (``most[k]`` at the outside, none older than twice as many days) as bring the spread down to ``aim``;
    one night where the spread is not over it. The nights before tonight are rows ``lo[k]`` to ``hi[k]``.
    """
    mean = now.copy()
    count = np.ones(lo.size, dtype=np.int64)
    for k in range(lo.size):
        wanted = min(most[k], int(np.ceil((spread[k] / aim[k]) ** 2 - 1e-9)))
        total = 0.0
        n = 0
        i = hi[k] - 1
        while i >= lo[k] and n < wanted - 1 and day[hi[k] - 1] - day[i] < 2 * wanted:
            total += residual[i]
            n += 1
            i -= 1
        if n > 0 and abs(now[k] - total / n) <= _CLEAR * spread[k]:
            mean[k] = (total + now[k]) / (n + 1)
            count[k] = n + 1
    return mean, count
