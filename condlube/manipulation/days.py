"""One day of a batch: operation, quality, cells and rows, in a straight line."""

from __future__ import annotations

import numpy as np

from condlube.manipulation import quality, reasons
from condlube.manipulation.cells import cells_of_day, describe
from condlube.manipulation.conversions import flag_unit_jump
from condlube.manipulation.erratic import flag_erratic
from condlube.manipulation.fields import (
    AMBIENT_HELD,
    AMBIENT_LAG,
    AMBIENT_LAGGED,
    AMBIENT_MEAN,
    AT,
    CELL,
    COVERAGE,
    DATE,
    FAULT,
    FIELDS,
    KNOWN,
    LAST_TIME,
    LAST_VALUE,
    LOAD_HELD,
    LOAD_LAG,
    LOAD_LAGGED,
    LOAD_MEAN,
    N_TOTAL,
    POINT,
    QUANTITY,
    READINGS,
    ROUTE,
    RUNNING_H,
    RUNNING_SHARE,
    SHAFT_RPM,
    SPEED_HELD,
    SPEED_LAG,
    SPEED_LAGGED,
    SPEED_RPM,
    STARTED,
    STARTS,
    STATE,
    WITNESSES,
    N,
)  # fmt: skip
from condlube.manipulation.kernel import Bools, Floats, Ints, newest_not_after, quantile, sort_stretches, starts_of
from condlube.manipulation.layout import Batch
from condlube.manipulation.operation import NEVER, Operation, distrust, has_tag, operate
from condlube.manipulation.quantities import FIRST_OPERATING, TEMPERATURE
from condlube.manipulation.rules import (
    COARSEST,
    COVERAGE_MIN,
    DAY,
    FAULT_SHARE,
    LAG,
    SETTLE,
    STALE_AFTER,
)  # fmt: skip
from condlube.manipulation.running import STOPPED
from condlube.manipulation.window import Window, window_of

CELL_KEYS = 16  # more than the cells of a point and day, -1 included


def summarise_day(batch: Batch, memory: Floats, rules: Floats, day: int) -> Floats:
    """Summary rows (rows, FIELDS) of one day, sorted by point and cell.

    ``memory`` (points, days, REMEMBERED) holds the days before.
    """
    window = window_of(batch, day)
    operation = operate(batch, window, memory, rules, day)
    machine = batch.machine_of[window.point]
    today = np.flatnonzero(window.today & (machine >= 0))
    if not len(today):
        return np.empty((0, FIELDS))
    place = newest_not_after(operation.machine, operation.table[AT], machine, window.time)
    distrust(batch, window, operation, place, memory, rules)
    running = (place < 0) | (operation.table[STATE, place] != STOPPED)
    judge(batch, window, operation, place, running, memory, rules)
    cell, hours, starts = cells_of_day(operation, batch.begin[day], batch.end[day], rules)

    point, at, code = window.point[today], place[today], window.code[today]
    of_cell = np.where(code == reasons.SOUND, cell[at], -1)
    row_of, rows = _rows(batch, point, of_cell, hours)
    of_row = rows[:, POINT].astype(np.int64)
    running_row = rows[:, CELL] >= 0
    rows[:, DATE] = day
    rows[:, STARTS] = starts[batch.machine_of[of_row]]
    rows[:, N_TOTAL] = np.bincount(row_of, minlength=len(rows))
    machine_known = operation.known[batch.machine_of[of_row]]
    rows[:, KNOWN] = np.maximum(_newest(window.known, window.point, len(batch.points))[of_row], machine_known)
    rows[running_row, RUNNING_H] = _running_h(batch, rows[running_row], hours)
    rows[~running_row, RUNNING_H] = 0.0

    ruled = ruling(code, point, len(batch.points), rules[FAULT_SHARE])
    coverage, untestable = _coverage(batch, window, running, memory, rules, day)
    rows[:, COVERAGE] = coverage[of_row]

    settled = window.time[today] >= operation.table[STARTED, at] + rules[SETTLE]
    temperature = batch.points[point, QUANTITY] == TEMPERATURE
    evidence = (of_cell >= 0) & (settled | ~temperature)
    rows[:, N] = np.where(running_row, np.bincount(row_of[evidence], minlength=len(rows)), 0)
    faulty = (ruled[of_row] != reasons.SOUND) & (rows[:, N] == 0)
    rows[:, FAULT] = np.where(running_row & ~faulty, untestable[of_row], ruled[of_row])
    chosen = evidence | ((of_cell < 0) & _of_rest(code, of_cell, point, ruled, window.value[today], len(batch.points)))
    warm = (batch.points[of_row, QUANTITY] == TEMPERATURE) & running_row
    describe(window.value[today[chosen]], row_of[chosen], warm, rows)
    _conditions(batch, window, operation, today[evidence], at[evidence], row_of[evidence], rows, rules)
    _speed_of_empty(batch, operation, cell, rows)
    return rows


def judge(
    batch: Batch, window: Window, operation: Operation, place: Ints, running: Bools, memory: Floats, rules: Floats
) -> None:
    """Write the faults of the signals into the window's codes; an earlier criterion goes before a later one.

    Of operating points an uncertain reading counts as sound: it tells of the conditions.
    """
    quantity, code = batch.points[:, QUANTITY], window.code
    ambient = np.where(place < 0, np.nan, operation.table[AMBIENT_HELD, place])
    witnesses = np.where(place < 0, 0.0, operation.table[WITNESSES, place])
    flag_unit_jump(window, running, witnesses, quantity, memory, rules)
    quality.flag_zero(window, running, quantity, rules)
    quality.flag_frozen(window, running, ambient, quantity, memory, rules)
    quality.flag_spikes(window, running, quantity, rules)
    speed = np.where(place < 0, 1.0, operation.table[SPEED_HELD, place])
    told = has_tag(batch, window)[batch.machine_of[window.point]]
    flag_erratic(window, running, speed, told, batch.machine_of, quantity, memory, rules)
    operating = quantity[window.point] >= FIRST_OPERATING
    code[operating & (code == reasons.UNCERTAIN)] = reasons.SOUND


def ruling(code: Floats, point: Ints, points: int, share: float) -> Floats:
    """For each point the most frequent fault of its readings if it holds at least ``share`` of them, else sound."""
    kinds = len(reasons.REASONS)
    counts = np.bincount(point * kinds + code.astype(np.int64), minlength=points * kinds).reshape(points, kinds)
    total = counts.sum(axis=1)
    counts[:, reasons.SOUND] = 0
    worst, most = counts.argmax(axis=1), counts.max(axis=1)
    return np.where((most > 0) & (most >= share * total), worst, reasons.SOUND).astype(np.float64)


def usual_interval(window: Window, memory: Floats) -> Floats:
    """Usual time between a point's readings: the median over lookback and day.

    A day of fewer than three readings is held against the median number of readings of the remembered days.
    """
    points = len(window.start) - 1
    inner = np.diff(window.point) == 0
    start = starts_of(window.point[1:][inner], points)
    interval = quantile(sort_stretches(np.diff(window.time)[inner], start), start, 0.5)
    interval[np.diff(start) < 2] = DAY
    fresh = np.bincount(window.point[window.today], minlength=points)
    few = np.flatnonzero((fresh < 3) & (fresh > 0))
    counts = np.sort(np.where(memory[few, :, READINGS] > 0, memory[few, :, READINGS], np.inf), axis=1)
    days = np.isfinite(counts).sum(axis=1)
    known = np.flatnonzero(days)
    middle = counts[known, (days[known] - 1) // 2] + counts[known, days[known] // 2]
    interval[few[known]] = 2.0 * DAY / middle
    return interval


def _rows(batch: Batch, point: Ints, of_cell: Ints, hours: Floats) -> tuple[Ints, Floats]:
    """The row of each reading, and the rows of the day: empty but for point and cell.

    A point that has a reading on the day has a row for every cell with readings, and for every cell in which its
    machine ran.
    """
    seen = np.unique(point)
    ran = (hours.sum(axis=0) > 0)[batch.machine_of[seen]]
    pair, with_hours = np.nonzero(ran)
    of_reading = point * CELL_KEYS + of_cell + 1
    key = np.unique(np.concatenate([of_reading, seen[pair] * CELL_KEYS + with_hours + 1]))
    rows = np.full((len(key), FIELDS), np.nan)
    rows[:, POINT], rows[:, CELL] = key // CELL_KEYS, key % CELL_KEYS - 1
    return np.searchsorted(key, of_reading), rows


def _newest(known: Floats, point: Ints, points: int) -> Floats:
    newest = np.full(points, NEVER)
    np.maximum.at(newest, point, known)
    return newest


def _running_h(batch: Batch, rows: Floats, hours: Floats) -> Floats:
    """Hours known to run, and the register's share of those not known."""
    point, cell = rows[:, POINT].astype(np.int64), rows[:, CELL].astype(np.int64)
    known, unknown = hours[:, batch.machine_of[point], cell]
    return np.asarray(known + unknown * batch.points[point, RUNNING_SHARE])


def _coverage(
    batch: Batch, window: Window, running: Bools, memory: Floats, rules: Floats, day: int
) -> tuple[Floats, Floats]:
    """Share of the expected readings that are sound, and what keeps the sound ones from being tested, per point."""
    points, length = len(batch.points), batch.end[day] - batch.begin[day]
    interval = usual_interval(window, memory)
    sound = window.code == reasons.SOUND
    coverage = np.minimum(1.0, np.bincount(window.point[window.today & sound], minlength=points) * interval / length)
    last = np.full(points, NEVER)
    arrived = window.code != reasons.BAD
    last[window.point[arrived]] = window.time[arrived]

    quantity = batch.points[:, QUANTITY]
    usable = np.flatnonzero(sound & running & (quantity[window.point] < FIRST_OPERATING))
    coarsest = rules[COARSEST + quantity.astype(np.int64)]
    coarse = quality.is_quantised(window.value[usable], window.point[usable], quantity, coarsest)
    untestable = np.zeros(points)
    untestable[coarse] = reasons.QUANTISED
    untestable[quality.is_gap(coverage, rules[COVERAGE_MIN])] = reasons.GAP
    untestable[quality.is_stale(last, batch.end[day], interval, rules[STALE_AFTER])] = reasons.STALE
    route = batch.points[:, ROUTE] > 0
    coverage[route], untestable[route] = 1.0, reasons.SOUND
    return coverage, untestable


def _of_rest(code: Floats, cell: Ints, point: Ints, ruled: Floats, value: Floats, points: int) -> Bools:
    """Which readings of cell -1 are described: sound ones at standstill; without any, those of the ruling fault."""
    sound = code == reasons.SOUND
    still = np.bincount(point[sound & (cell < 0)], minlength=points) > 0
    return np.asarray(np.where(still[point], sound, (code == ruled[point]) & np.isfinite(value)))


def _conditions(
    batch: Batch, window: Window, operation: Operation, index: Ints, at: Ints, row_of: Ints, rows: Floats,
    rules: Floats,
) -> None:  # fmt: skip
    """Last reading of each cell, and the mean conditions at its readings; lagged ones for temperature."""
    newest = np.full(len(rows), -1)
    newest[row_of] = index
    has = newest >= 0
    rows[has, LAST_VALUE], rows[has, LAST_TIME] = window.value[newest[has]], window.time[newest[has]]
    warm = batch.points[window.point[index], QUANTITY] == TEMPERATURE
    decay = np.exp((operation.table[AT, at[warm]] - window.time[index[warm]]) / rules[LAG])
    rpm = batch.points[rows[:, POINT].astype(np.int64), SHAFT_RPM]
    for held, lag, mean, lagged_mean in (
        (SPEED_HELD, SPEED_LAG, SPEED_RPM, SPEED_LAGGED),
        (LOAD_HELD, LOAD_LAG, LOAD_MEAN, LOAD_LAGGED),
        (AMBIENT_HELD, AMBIENT_LAG, AMBIENT_MEAN, AMBIENT_LAGGED),
    ):
        scale = rpm if held == SPEED_HELD else np.ones(len(rows))
        rows[:, mean] = scale * _means(operation.table[held, at], row_of, len(rows))
        x, y = operation.table[held, at[warm]], operation.table[lag, at[warm]]
        later = np.where(np.isnan(x), y, x + (y - x) * decay)
        rows[:, lagged_mean] = scale * _means(later, row_of[warm], len(rows))


def _means(value: Floats, row_of: Ints, rows: int) -> Floats:
    """Mean per row of what is known; NaN of nothing. Sums run in the order of the readings, whatever the batch."""
    known = ~np.isnan(value)
    total = np.bincount(row_of[known], weights=value[known], minlength=rows)
    count = np.bincount(row_of[known], minlength=rows)
    return np.asarray(np.divide(total, count, out=np.full(rows, np.nan), where=count > 0))


def _speed_of_empty(batch: Batch, operation: Operation, cell: Ints, rows: Floats) -> None:
    """Cells in which the machine ran but the point has no evidence: their speed is that of the operation."""
    ran = cell >= 0
    key = operation.machine[ran] * CELL_KEYS + cell[ran]
    speed = _means(operation.table[SPEED_HELD, ran], key, (len(operation.start) - 1) * CELL_KEYS)
    empty = (rows[:, CELL] >= 0) & (rows[:, N] == 0)
    point, c = rows[empty, POINT].astype(np.int64), rows[empty, CELL].astype(np.int64)
    rows[empty, SPEED_RPM] = batch.points[point, SHAFT_RPM] * speed[batch.machine_of[point] * CELL_KEYS + c]
