"""Operating cells of a day by speed, and the figures of one cell."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import AT, MEDIAN, OCTILE, P10, P90, SPEED_HELD, SPREAD, STARTED, STATE
from condlube.manipulation.kernel import Bools, Floats, Ints, quantile, ranges, sort_stretches, starts_of
from condlube.manipulation.operation import Operation
from condlube.manipulation.rules import CELL_WIDTH, CELLS_MAX, HOUR
from condlube.manipulation.running import STOPPED, UNKNOWN

MAD_TO_SD = 1.482602218505602  # 1 / 75 % quantile of the standard normal distribution


def cells_of_day(operation: Operation, begin: float, end: float, rules: Floats) -> tuple[Ints, Floats, Ints]:
    """Operating cells of machines.

    From the lowest running speed of the day up, a cell holds what is at most ``cell_width`` faster than its slowest; so
    a machine at a fixed speed always has one cell. Where that would give more than ``cells_max`` they are made wider,
    all alike.

    Returns the cell of each time (-1 at standstill or before the day), shape (times,); the hours known and not known to
    run in each cell, shape (2, machines, cells_max); and the starts of the day, shape (machines,).
    """
    table, machines, most = operation.table, len(operation.start) - 1, int(rules[CELLS_MAX])
    today = table[AT] >= begin
    running = np.flatnonzero(today & (table[STATE] != STOPPED))
    machine, speed = operation.machine[running], table[SPEED_HELD, running]
    lowest, highest = np.full(machines, np.inf), np.zeros(machines)
    np.minimum.at(lowest, machine, speed)
    np.maximum.at(highest, machine, speed)
    ratio = np.full(machines, 1.0 + rules[CELL_WIDTH])
    turns = (lowest > 0) & (highest > 0)
    spread = (highest[turns] / lowest[turns]) ** (1.0 / most) * (1.0 + 1e-9)
    ratio[turns] = np.maximum(ratio[turns], spread)
    of_time, floor = np.zeros(len(running), np.int64), lowest
    for c in range(1, most):
        beyond = (of_time == c - 1) & (speed > (floor * ratio)[machine])
        if not beyond.any():
            break
        of_time[beyond] = c
        floor = np.full(machines, np.inf)
        np.minimum.at(floor, machine[beyond], speed[beyond])
    cell = np.full(table.shape[1], -1)
    cell[running] = of_time
    until = np.append(table[AT, 1:], end)
    until[operation.start[1:][np.diff(operation.start) > 0] - 1] = end
    hours = np.zeros((2, machines, most))
    unknown = (table[STATE, running] == UNKNOWN).astype(np.int64)
    np.add.at(hours, (unknown, machine, of_time), (until - table[AT])[running] / HOUR)
    starts = np.bincount(operation.machine[today & (table[STARTED] == table[AT])], minlength=machines)
    return cell, hours, starts


def describe(value: Floats, row: Ints, octiles_of: Bools, rows: Floats) -> None:
    """Median, spread and quantiles of the values of each row, and octiles of the rows of ``octiles_of``.

    The spread is 1.4826 times the median absolute deviation from the median.
    """
    order = np.argsort(row, kind="stable")
    row = row[order]
    start = starts_of(row, len(rows))
    value = sort_stretches(value[order], start)
    for field, share in ((MEDIAN, 0.5), (P10, 0.1), (P90, 0.9)):
        rows[:, field] = quantile(value, start, share)
    away = np.abs(value - rows[row, MEDIAN])
    rows[:, SPREAD] = MAD_TO_SD * quantile(sort_stretches(away, start), start, 0.5)
    rows[:, OCTILE : OCTILE + 8] = np.where(octiles_of[:, None], octiles(value, row, start), np.nan)


def octiles(ordered: Floats, row: Ints, start: Ints) -> Floats:
    """Means of the eight equal parts of each sorted stretch ``start[g]:start[g + 1]`` (of ``row`` g), shape (rows, 8).

    Value i of n fills the stretch from i/n to (i+1)/n; a part takes of each value what falls into it. So the mean of
    the octiles is the mean of the values, for any number of them. Counted in units of 1/(8n), where all is whole.
    """
    n = np.diff(start)
    place = np.arange(len(ordered)) - start[row]
    first, last = 8 * place // n[row], (8 * place + 7) // n[row]
    value = np.repeat(np.arange(len(ordered)), last - first + 1)
    part = ranges(first, last + 1)
    size = n[row[value]]
    low, high = np.maximum(8 * place[value], part * size), np.minimum(8 * place[value] + 8, (part + 1) * size)
    total = np.bincount(row[value] * 8 + part, weights=ordered[value] * (high - low), minlength=8 * len(n))
    with np.errstate(invalid="ignore"):
        return np.asarray(total.reshape(-1, 8) / n[:, None])
