"""One pass over machines and days: operation, quality, cells, and the memory for the days after."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.cells import cell_floors, cell_of, describe
from condlube.manipulation.kernel import Bools, Floats, Ints, kernel
from condlube.manipulation.lag import after
from condlube.manipulation.layout import SPEED, TEMPERATURE, Batch, Numbers
from condlube.manipulation.memory import (
    AMBIENT_LAGGED, AMBIENT_MEAN, CELL, COVERAGE, DATE, FAULT, FIELDS, KNOWN, LAST_TIME, LAST_VALUE, LOAD_LAGGED,
    LOAD_MEAN, N, N_TOTAL, POINT, READINGS, RUNNING_H, SPEED_LAGGED, SPEED_RPM, STARTS, remember,
)  # fmt: skip
from condlube.manipulation.operation import Operation, operate, window
from condlube.manipulation.quality import (
    flag_frozen, flag_spikes, flag_unit_jump, flag_zero, is_gap, is_quantised, is_stale, ruling,
)  # fmt: skip
from condlube.manipulation.reasons import BAD, GAP, QUANTISED, SOUND, STALE, UNCERTAIN
from condlube.manipulation.running import STOPPED, UNKNOWN

HOUR_US = 3.6e9


@kernel
def summarise_days(batch: Batch, numbers: Numbers, memory: Floats) -> Floats:
    """Summary rows (rows, FIELDS) of every machine and day.

    ``memory`` (points, calendar days, REMEMBERED) holds what earlier summaries tell; day d of the batch is at
    ``batch.calendar[d]``. Days are taken in order, and each is remembered for those after it.
    """
    rows = np.empty((max(64, 2 * (batch.start.size - 1) * batch.begin.size), FIELDS))
    n = 0
    for machine in range(batch.member_start.size - 1):
        members = batch.member[batch.member_start[machine] : batch.member_start[machine + 1]]
        for day in range(batch.begin.size):
            begin, end, today = batch.begin[day], batch.end[day], batch.calendar[day]
            any_reading = False
            for p in members:
                lo, hi = window(batch, p, begin, end)
                any_reading |= hi > lo
            if not any_reading:
                continue
            before = memory[:, max(0, today - numbers.memory_days) : today]
            operation = operate(batch, numbers, before, machine, day)
            floors, cell, known_h, unknown_h = _machine_cells(operation, end, numbers)
            for p in members:
                lo, hi = window(batch, p, begin, end)
                if hi == lo:
                    continue
                if n + floors.size + 1 > rows.shape[0]:
                    grown = np.empty((2 * rows.shape[0], FIELDS))
                    grown[:n] = rows[:n]
                    rows = grown
                made = _point_day(
                    batch, numbers, before[p], operation, floors, cell, known_h, unknown_h, p, day, rows[n:]
                )
                remember(rows[n : n + made], memory[p, today])
                n += made
    return rows[:n]


@kernel
def _machine_cells(operation: Operation, end: int, numbers: Numbers) -> tuple[Floats, Ints, Floats, Floats]:
    """Floors of the day's cells, cell of each time (-1 at standstill), hours known to run and hours unknown per cell."""
    size = operation.time.size
    running = np.zeros(size, np.bool_)
    for i in range(operation.begin, size):
        running[i] = operation.state[i] != STOPPED
    floors = np.empty(0)
    if running.any():
        floors = cell_floors(operation.speed[running], numbers.cell_width, numbers.cells_max)
    cell = np.full(size, -1)
    known_h, unknown_h = np.zeros(floors.size), np.zeros(floors.size)
    for i in range(operation.begin, size):
        if running[i]:
            cell[i] = cell_of(operation.speed[i], floors)
            until = operation.time[i + 1] if i + 1 < size else end
            hours = (until - operation.time[i]) / HOUR_US
            if operation.state[i] == UNKNOWN:
                unknown_h[cell[i]] += hours
            else:
                known_h[cell[i]] += hours
    return floors, cell, known_h, unknown_h


@kernel
def _point_day(
    batch: Batch, numbers: Numbers, memory: Floats, operation: Operation, floors: Floats, cell: Ints, known_h: Floats,
    unknown_h: Floats, point: int, day: int, rows: Floats,
) -> int:  # fmt: skip
    """Write the rows of one point and day; returns how many."""
    begin, end = batch.begin[day], batch.end[day]
    since = begin - numbers.lookback
    lo, hi = window(batch, point, since, end)
    time, value, code = batch.time[lo:hi], batch.value[lo:hi], batch.code[lo:hi].copy()
    quantity = batch.quantity[point]
    today = np.searchsorted(time, begin)
    place = np.searchsorted(operation.time, time, side="right") - 1
    running = np.ones(time.size, np.bool_)
    for i in range(time.size):
        running[i] = place[i] < 0 or operation.state[place[i]] != STOPPED
    if quantity < SPEED:
        flag_unit_jump(value, running, code, quantity, memory, today, numbers)
        flag_zero(value, running, code, quantity, numbers.zero_readings)
        ambient = np.array([operation.ambient[k] if k >= 0 else np.nan for k in place])
        flag_frozen(time, value, running, ambient, code, quantity, memory, numbers)
        flag_spikes(value, running, code, quantity, numbers)
    else:
        code[code == UNCERTAIN] = SOUND
    interval = _usual_interval(time, hi - lo - today, memory, numbers)
    fresh = (code[today:] != BAD).sum()
    last = -1
    for i in range(today, time.size):
        if code[i] != BAD:
            last = time[i]
    sound = (code[today:] == SOUND).sum()
    coverage = 1.0 if batch.route[point] else min(1.0, sound * interval / (end - begin))
    fault = SOUND
    if not batch.route[point]:
        if is_stale(last, end, interval, numbers.stale):
            fault = STALE
        elif is_gap(coverage, numbers.coverage_min):
            fault = GAP
        elif quantity < SPEED and is_quantised(value[(code == SOUND) & running], quantity, numbers.coarsest[quantity]):
            fault = QUANTISED
    where = np.full(time.size, -1)
    evidence = np.zeros(time.size, np.bool_)
    for i in range(today, time.size):
        if code[i] == SOUND and running[i]:
            where[i] = cell[place[i]]
            evidence[i] = quantity != TEMPERATURE or time[i] >= operation.started[place[i]] + numbers.settle
    known = max(operation.known, batch.known[lo:hi].max())
    made = 0
    for c in range(-1, floors.size):
        inside = where == c
        inside[:today] = False
        hours = known_h[c] + unknown_h[c] * batch.running_share[point] if c >= 0 else 0.0
        if not inside.any() and (c < 0 or known_h[c] + unknown_h[c] == 0.0):
            continue
        row = rows[made]
        row[:] = np.nan
        row[POINT], row[DATE], row[CELL], row[KNOWN] = point, day, c, known
        row[N_TOTAL], row[RUNNING_H], row[COVERAGE], row[STARTS] = inside.sum(), hours, coverage, operation.starts
        if c < 0:
            _standstill_or_faulty(value, code, running, inside, ruling(code[today:], numbers.fault_share), row)
        else:
            row[FAULT] = fault
            _running_cell(batch, numbers, operation, point, time, value, place, inside & evidence, cell, c, row)
        made += 1
    return made


@kernel
def _standstill_or_faulty(value: Floats, code: Ints, running: Bools, inside: Bools, fault: int, row: Floats) -> None:
    """Figures of cell -1: of sound readings at standstill, else of the faulty ones where a fault rules the day."""
    row[N], row[FAULT] = 0, fault
    still = inside & (code == SOUND)
    chosen = still if still.any() else inside & (code == fault) & np.isfinite(value)
    if chosen.any():
        describe(value[chosen], row, False)


@kernel
def _running_cell(
    batch: Batch, numbers: Numbers, operation: Operation, point: int, time: Ints, value: Floats, place: Ints,
    chosen: Bools, cell: Ints, c: int, row: Floats,
) -> None:  # fmt: skip
    """Figures of one operating cell: of the readings and of the conditions at them."""
    index = np.flatnonzero(chosen)
    row[N] = index.size
    at = place[index] if index.size else np.flatnonzero(cell == c)
    rpm = batch.shaft_rpm[point]
    row[SPEED_RPM] = rpm * operation.speed[at].mean()
    row[LOAD_MEAN], row[AMBIENT_MEAN] = _mean(operation.load[at]), _mean(operation.ambient[at])
    if index.size == 0:
        return
    temperature = batch.quantity[point] == TEMPERATURE
    describe(value[index], row, temperature)
    row[LAST_VALUE], row[LAST_TIME] = value[index[-1]], time[index[-1]]
    if temperature:
        lagged = np.empty((3, index.size))
        for k in range(index.size):
            i, j = index[k], place[index[k]]
            elapsed = float(time[i] - operation.time[j])
            lagged[0, k] = after(operation.speed_lagged[j], operation.speed[j], elapsed, numbers.lag)
            lagged[1, k] = after(operation.load_lagged[j], operation.load[j], elapsed, numbers.lag)
            lagged[2, k] = after(operation.ambient_lagged[j], operation.ambient[j], elapsed, numbers.lag)
        row[SPEED_LAGGED] = rpm * _mean(lagged[0])
        row[LOAD_LAGGED], row[AMBIENT_LAGGED] = _mean(lagged[1]), _mean(lagged[2])


@kernel
def _mean(value: Floats) -> float:
    """Mean of what is known; NaN if nothing is."""
    total, n = 0.0, 0
    for v in value:
        if not np.isnan(v):
            total += v
            n += 1
    return total / n if n else np.nan


@kernel
def _usual_interval(time: Ints, fresh: int, memory: Floats, numbers: Numbers) -> float:
    """Usual time between readings (microseconds): the median over lookback and day; a day of fewer than three readings
    is held against the readings per remembered day."""
    day_us = 24.0 * HOUR_US
    if fresh >= 3:
        return float(np.median(np.diff(time)))
    counts = memory[:, READINGS][memory[:, READINGS] > 0]
    if counts.size:
        return day_us / float(np.median(counts))
    return float(np.median(np.diff(time))) if time.size >= 3 else day_us
