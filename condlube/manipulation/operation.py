"""How a machine ran through one day and the days before it: state, speed, load and ambient along a common time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.lag import hold, lagged
from condlube.manipulation.layout import (
    ACCELERATION, AMBIENT, CURRENT, LOAD, POWER, SPEED, VELOCITY, Batch, Numbers,
)  # fmt: skip
from condlube.manipulation.levels import decibel
from condlube.manipulation.running import (
    RUNNING, STOPPED, UNKNOWN, knows_zero, senses, tag_threshold, usable, votes,
)  # fmt: skip


class Operation(NamedTuple):
    """Conditions from each time to the next, shape (times,); the first time of the day is at ``begin``."""

    time: Ints
    begin: int
    state: Ints
    speed: Floats  # relative to the register's speed; 0 at standstill
    load: Floats
    ambient: Floats
    speed_lagged: Floats
    load_lagged: Floats
    ambient_lagged: Floats
    started: Ints  # newest start, far in the past where there was none
    starts: int  # of the day
    known: int  # newest known_at of what it was made from


@kernel
def window(batch: Batch, point: int, begin: int, end: int) -> tuple[int, int]:
    """Range of a point's readings from ``begin`` up to, not including, ``end``."""
    lo, hi = batch.start[point], batch.start[point + 1]
    times = batch.time[lo:hi]
    return lo + np.searchsorted(times, begin), lo + np.searchsorted(times, end)


@kernel
def sources(batch: Batch, machine: int, begin: int, end: int) -> Ints:
    """Points that tell how the machine ran: its operating points and the plant's ambient, and, where neither speed nor
    power nor current has a reading, its signals."""
    members = batch.member[batch.member_start[machine] : batch.member_start[machine + 1]]
    tagged = False
    for p in members:
        if batch.quantity[p] == SPEED or batch.quantity[p] == POWER or batch.quantity[p] == CURRENT:
            lo, hi = window(batch, p, begin, end)
            tagged |= usable(batch.code[lo:hi]).any()
    out = np.empty(members.size + batch.plant.size, np.int64)
    n = 0
    for p in members:
        if batch.quantity[p] >= SPEED or (senses(batch.quantity[p]) and not tagged and not batch.route[p]):
            out[n] = p
            n += 1
    for p in batch.plant:
        out[n] = p
        n += 1
    return out[:n]


@kernel
def operate(batch: Batch, numbers: Numbers, memory: Floats, machine: int, day: int) -> Operation:
    """Operation of one machine on one day, with the days of the lookback before it.

    ``memory`` (points, days, REMEMBERED) holds the days before. A reading speaks until the next one, for
    ``numbers.hold`` at most. Speed comes first, then power, then current; without any, the signals vote: stopped where
    one says so and none says that the machine runs.
    """
    begin, end = batch.begin[day], batch.end[day]
    since = begin - numbers.lookback
    chosen = sources(batch, machine, since, end)
    size, known = 1, np.iinfo(np.int64).min
    for p in chosen:
        lo, hi = window(batch, p, since, end)
        size += hi - lo
    every = np.empty(size, np.int64)
    every[0] = begin
    n = 1
    for p in chosen:
        lo, hi = window(batch, p, since, end)
        every[n : n + hi - lo] = batch.time[lo:hi]
        n += hi - lo
        if hi > lo:
            known = max(known, batch.known[lo:hi].max())
    time = np.unique(every)
    n = time.size
    state, speed = np.full(n, UNKNOWN), np.full(n, np.nan)
    runs, stands = np.zeros(n, np.bool_), np.zeros(n, np.bool_)
    load, ambient = np.full(n, np.nan), np.full(n, np.nan)
    load_kind = _load_kind(batch, chosen)
    for kind in (SPEED, POWER, CURRENT, LOAD, AMBIENT, -1):
        for p in chosen:
            q = batch.quantity[p]
            if q != kind and not (kind == -1 and senses(q)):
                continue
            lo, hi = window(batch, p, since, end)
            at, value, sound = batch.time[lo:hi], batch.value[lo:hi], usable(batch.code[lo:hi])
            if q == AMBIENT:
                hold(time, at, value, sound, numbers.hold, ambient)
            if q == load_kind:
                hold(time, at, value, sound, numbers.hold, load)
            held = np.full(n, np.nan)
            if kind == SPEED:
                hold(time, at, value, sound, numbers.hold, held)
                for i in range(n):
                    if np.isnan(speed[i]) and not np.isnan(held[i]):
                        speed[i] = abs(held[i]) / batch.shaft_rpm[p]
                        state[i] = RUNNING if abs(held[i]) > batch.min_rpm[p] else STOPPED
            elif kind == POWER or kind == CURRENT:
                hold(time, at, value, sound, numbers.hold, held)
                least = tag_threshold(q, value[sound], memory[p], numbers)
                for i in range(n):
                    if state[i] == UNKNOWN and not np.isnan(held[i]):
                        state[i] = RUNNING if held[i] > least else STOPPED
            elif kind == -1:
                logarithmic = q == ACCELERATION or q == VELOCITY
                if not knows_zero(memory[p]):
                    sound &= value != 0.0
                level = np.array([decibel(v, logarithmic) for v in value])
                today = level[np.searchsorted(at, begin) :][sound[np.searchsorted(at, begin) :]]
                under, over = votes(today, memory[p], logarithmic, numbers)
                hold(time, at, level, sound, numbers.hold, held)
                for i in range(n):
                    runs[i] |= held[i] >= over
                    stands[i] |= held[i] < under
    for i in range(n):
        if state[i] == UNKNOWN and (runs[i] or stands[i]):
            state[i] = RUNNING if runs[i] else STOPPED
        if state[i] != STOPPED and np.isnan(speed[i]):
            speed[i] = 1.0
        elif state[i] == STOPPED:
            speed[i] = 0.0
    started, starts = _starts(time, state, begin)
    return Operation(
        time, np.searchsorted(time, begin), state, speed, load, ambient, lagged(time, speed, numbers.lag),
        lagged(time, load, numbers.lag), lagged(time, ambient, numbers.lag), started, starts, known,
    )  # fmt: skip


@kernel
def _load_kind(batch: Batch, chosen: Ints) -> int:
    """The quantity that speaks for the load: load itself, else current, else power."""
    for kind in (LOAD, CURRENT, POWER):
        for p in chosen:
            if batch.quantity[p] == kind:
                return kind
    return LOAD


@kernel
def _starts(time: Ints, state: Ints, begin: int) -> tuple[Ints, int]:
    """Newest start up to each time, and the number of starts from ``begin`` on."""
    started = np.empty(time.size, np.int64)
    newest, before, count = np.iinfo(np.int64).min // 2, UNKNOWN, 0
    for i in range(time.size):
        if state[i] == RUNNING and before == STOPPED:
            newest = time[i]
            count += time[i] >= begin
        if state[i] != UNKNOWN:
            before = state[i]
        started[i] = newest
    return started, count
