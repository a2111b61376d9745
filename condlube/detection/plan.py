"""When a reference period has collected enough to be frozen, and from which cells."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.expected import OUTSIDE, SIZE, UNKNOWN, predict
from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import Bools


@kernel
def plan(
    lo: Ints, hi: Ints, begin: Ints, end: Ints, need: Ints, most: Ints, fewest: Ints, settle: Ints, give_up: Ints,
    serving: Ints, day: Ints, learnable: Bools, level: Floats, operating: Floats, weight: Floats,
    coefficients: Floats, covariance: Floats, knots: Floats, low: Floats, high: Floats, spread: Floats,
    margins: Floats, gate: float,
) -> tuple[Ints, Ints, Ints]:  # fmt: skip
    """Walk the nights of many periods.

    Task t looks at cells ``lo[t]`` to ``hi[t]`` of days from ``begin[t]`` to before ``end[t]`` and is complete on the
    first night with ``need[t]`` learnable nights and no wider operating range for ``settle[t]`` nights, or with
    ``fewest[t]`` nights once ``most[t]`` days have passed; it is given up after ``give_up[t]`` days. With a reference
    ``serving[t]`` (row of the models, -1: none) nights that deviate by more than ``gate`` spreads are not learned from;
    downwards the gate is 2.5 times as wide, as an earlier reference may have been learned dry.

    Returns
    -------
    The day of completion per task (-1: not yet), the cells to learn from, and where each task's cells start.
    """
    tasks = lo.size
    done = np.full(tasks, -1)
    offset = np.zeros(tasks + 1, dtype=np.int64)
    total = 0
    for t in range(tasks):
        total += hi[t] - lo[t]
    chosen = np.empty(total, dtype=np.int64)
    row = np.empty(SIZE)
    seen_low = np.empty(3)
    seen_high = np.empty(3)
    filled = 0
    for t in range(tasks):
        first = filled
        nights = 0
        quiet = 0
        for v in range(3):
            seen_low[v] = np.inf
            seen_high[v] = -np.inf
        r = serving[t]
        i = lo[t]
        while i < hi[t] and day[i] < begin[t]:
            i += 1
        while i < hi[t] and day[i] < end[t] and day[i] - begin[t] <= give_up[t]:
            today = day[i]
            j = i
            residual = 0.0
            variance = 0.0
            mass = 0.0
            unknown = False
            while j < hi[t] and day[j] == today:
                if learnable[j] and r >= 0:
                    expected, var, place = predict(
                        coefficients[r], covariance[r], knots[r], low[r], high[r], operating[j], margins[t], row
                    )
                    if place == UNKNOWN:
                        unknown = True
                    if place != OUTSIDE or mass == 0.0:
                        residual += weight[j] * (level[j] - expected)
                        variance += weight[j] * var
                        mass += weight[j]
                elif learnable[j]:
                    mass += weight[j]
                j += 1
            wanted = mass > 0.0 and not unknown
            if wanted and r >= 0:
                limit = gate * np.sqrt(spread[r] ** 2 + variance / mass)
                wanted = -2.5 * limit <= residual / mass <= limit
            if wanted:
                wider = False
                for k in range(i, j):
                    if learnable[k]:
                        chosen[filled] = k
                        filled += 1
                        for v in range(3):
                            value = operating[k, v]
                            if not np.isnan(value):
                                near = margins[t, v] if v == 2 else margins[t, v] * abs(value)
                                if value < seen_low[v] - 0.5 * near or value > seen_high[v] + 0.5 * near:
                                    wider = True
                                seen_low[v] = min(seen_low[v], value)
                                seen_high[v] = max(seen_high[v], value)
                nights += 1
                quiet = 0 if wider else quiet + 1
                enough = nights >= need[t] and quiet >= settle[t]
                if enough or (nights >= fewest[t] and today - begin[t] >= most[t]):
                    done[t] = today
                    break
            i = j
        if done[t] < 0:
            filled = first
        offset[t + 1] = filled
    return done, chosen[:filled], offset
