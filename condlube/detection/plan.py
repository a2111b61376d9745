"""When a reference period has collected enough to be frozen, and from which cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condlube.detection.series import Cells
from condlube.manipulation.expected import OUTSIDE, UNKNOWN, Models, predict
from condlube.manipulation.kernel import Bools, Floats, Ints, ranges, starts_of

_DEEPER = 2.5  # the gate is so many times as wide downwards: an earlier reference may have been learned dry


@dataclass(frozen=True)
class Periods:
    """Reference periods that collect, an entry each.

    A period of point ``point`` looks at days from ``begin`` to before ``end`` and is complete on the first night with
    ``need`` learnable nights and no wider operating range for ``settle`` nights, with ``fewest`` nights once ``most``
    days have passed, or when the last ``beyond`` nights lay outside what the serving model knows: the machine has gone
    over to another duty. It is given up after ``give_up`` days. ``serving`` is the row of the model that serves (-1:
    none).
    """

    point: Ints
    begin: Ints
    end: Ints
    need: Ints
    most: Ints
    fewest: Ints
    beyond: Ints
    settle: Ints
    give_up: Ints
    serving: Ints


def plan(
    periods: Periods, cells: Cells, learnable: Bools, models: Models, margins: Floats, gate: float
) -> tuple[Ints, Ints, Ints]:
    """The day of completion per period (-1: not yet), the cells to learn from, and where each period's cells start.

    Nights that deviate by more than ``gate`` spreads from the reference that serves are not learned from.
    """
    tasks = len(periods.point)
    lo, hi = cells.start[periods.point], cells.start[periods.point + 1]
    rows, task = ranges(lo, hi), np.repeat(np.arange(tasks), hi - lo)
    day = cells.day[rows]
    stop = np.minimum(periods.end, periods.begin + periods.give_up + 1)
    wanted = learnable[rows] & (day >= periods.begin[task]) & (day < stop[task])
    rows, task, day = rows[wanted], task[wanted], day[wanted]
    begins = np.append(True, (np.diff(task) != 0) | (np.diff(day) != 0))[: len(rows)]
    night = np.cumsum(begins) - 1
    of = task[begins]
    sound, outside = _near(
        periods.serving[task], rows, cells, begins, night, models, margins[periods.point[task]], gate
    )
    rows, task, night = rows[sound[night]], task[sound[night]], night[sound[night]]
    of, on, outside = of[sound], day[begins][sound], outside[sound]
    night = np.cumsum(np.diff(night, prepend=-1) != 0) - 1
    start = starts_of(of, tasks)
    number = np.arange(len(of)) - start[of]
    wider = np.bincount(night, _wider(task, cells.operating[rows], margins[periods.point[task]]), len(of)) > 0
    last_wider = np.maximum.accumulate(np.where(wider, np.arange(len(of)), 0))
    quiet = np.arange(len(of)) - last_wider
    enough = (number + 1 >= periods.need[of]) & (quiet >= periods.settle[of])
    late = (number + 1 >= periods.fewest[of]) & (on - periods.begin[of] >= periods.most[of])
    last_inside = np.maximum.accumulate(np.where(outside, -1, np.arange(len(of))))
    gone_over = np.arange(len(of)) - np.maximum(last_inside, start[of] - 1) >= periods.beyond[of]
    complete = np.flatnonzero(enough | late | gone_over)
    period, first = np.unique(of[complete], return_index=True)
    closing = np.full(tasks, -1)
    closing[period] = complete[first]
    done = np.where(closing >= 0, np.append(on, -1)[closing], -1)
    chosen = night <= closing[task]
    return done, rows[chosen], starts_of(task[chosen], tasks)


def _near(
    serving: Ints, rows: Ints, cells: Cells, begins: Bools, night: Ints, models: Models, margins: Floats, gate: float
) -> tuple[Bools, Bools]:
    """Which nights lie within the gate of the serving reference, all of a period without one; and which lie wholly
    outside the conditions that it knows."""
    near = np.ones(int(begins.sum()), dtype=bool)
    held = np.flatnonzero(serving >= 0)
    r, row, of = serving[held], rows[held], night[held]
    expected, variance, place = predict(models, r, cells.operating[row], margins[held])
    counted = np.where((place != OUTSIDE) | begins[held], cells.weight[row], 0.0)

    def mean(values: Floats) -> Floats:
        mass = np.bincount(of, counted, len(near))
        return np.bincount(of, counted * values, len(near)) / np.where(mass > 0, mass, 1.0)

    residual = mean(cells.level[row] - expected)
    limit = np.zeros(len(near))
    limit[of] = gate * np.sqrt(models.spread[r] ** 2 + mean(variance)[of])
    unknown = np.bincount(of, place == UNKNOWN, len(near)) > 0
    compared = np.bincount(of, minlength=len(near)) > 0
    inside = np.bincount(of, place != OUTSIDE, len(near)) > 0
    near[compared] = (~unknown & (-_DEEPER * limit <= residual) & (residual <= limit))[compared]
    return near, compared & ~inside


def _wider(task: Ints, operating: Floats, margins: Floats) -> Bools:
    """Which cells lie clearly outside the operating range of those before them in their period."""
    wider = np.zeros(len(task), dtype=bool)
    for v in range(3):
        value = operating[:, v]
        known = np.isfinite(value)
        lowest = -_highest_before(task, np.where(known, -value, -np.inf))
        highest = _highest_before(task, np.where(known, value, -np.inf))
        near = margins[:, v] * (1.0 if v == 2 else np.abs(value))
        wider |= known & ((value < lowest - 0.5 * near) | (value > highest + 0.5 * near))
    return wider


def _highest_before(task: Ints, value: Floats) -> Floats:
    """The highest value of the rows before each in its task, -inf at the first; rows are in order of task."""
    levels, rank = np.unique(value, return_inverse=True)
    floor = task * len(levels)
    upto = levels[np.maximum.accumulate(floor + rank) - floor]
    return np.where(np.diff(task, prepend=-1) == 0, np.roll(upto, 1), -np.inf)
