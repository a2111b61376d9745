"""How machines ran through one day and its lookback: state, speed, load and ambient along a common time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.fields import (
    AMBIENT_HELD,
    AT,
    LOAD_HELD,
    MIN_RPM,
    OPERATION_FIELDS,
    QUANTITY,
    SHAFT_RPM,
    SPEED_HELD,
    SPEED_LAG,
    STARTED,
    STATE,
    WITNESSES,
)  # fmt: skip
from condlube.manipulation.kernel import (
    Bools,
    Floats,
    Ints,
    kernel,
    newest_not_after,
    ranges,
    sort_stretches,
    starts_of,
)
from condlube.manipulation.layout import Batch
from condlube.manipulation.quantities import AMBIENT, CURRENT, FIRST_OPERATING, LOAD, POWER, SPEED, is_amplitude
from condlube.manipulation.reasons import SOUND, UNCERTAIN, ZERO
from condlube.manipulation.rules import (
    APART_DB,
    CONTRADICTED_SHARE,
    CURRENT_FLOOR,
    HOLD,
    LAG,
    POWER_FLOOR,
    ZERO_READINGS,
)
from condlube.manipulation.running import (
    RUNNING,
    STOPPED,
    UNKNOWN,
    at_rest,
    knows_standstill,
    least_running,
    surely_running,
    votes,
)
from condlube.manipulation.window import Window

NEVER = -1e18


class Operation(NamedTuple):
    """Times of machine m are ``start[m]:start[m + 1]``; one of them is the begin of the day. A machine that has no
    reading on the day has none."""

    table: Floats  # (OPERATION_FIELDS, times)
    start: Ints
    machine: Ints  # of each time
    known: Floats  # newest known_at of what each machine's operation was made from


class Sources(NamedTuple):
    """Points that tell how machines ran, sorted by machine. Of its readings (``reading`` into the window, in order of
    time) source s has ``start[s]:start[s + 1]``, with their level: dB of a signal, else the value; NaN if unusable."""

    point: Ints
    machine: Ints
    kind: Ints  # quantity
    start: Ints
    reading: Ints
    level: Floats


def operate(batch: Batch, window: Window, memory: Floats, rules: Floats, day: int) -> Operation:
    """Operation of every machine on one day; ``memory`` (points, days, REMEMBERED) holds the days before.

    A reading speaks until the next one, for ``hold_h`` at most. Speed comes first, then power, then current. Where
    none of them has a usable reading the signals vote: stopped where one says so and none says running (of those that
    never stopped, no fewer), and where all are no more than a sensor's own noise. Else the state is unknown; an unknown
    speed is the register's. The load is the machine's load, else its current, else its power: one of them for good.
    """
    active, sources = sources_of(batch, window, memory)
    of_reading = np.repeat(sources.machine, np.diff(sources.start))
    ends, of_end = _ends(sources, window, rules[HOLD], batch.end[day])
    time = np.concatenate([window.time[sources.reading], ends, np.full(len(active), batch.begin[day])])
    of = np.concatenate([of_reading, of_end, active])
    order = np.lexsort((time, of))
    time, of = time[order], of[order]
    new = np.ones(len(time), np.bool_)
    new[1:] = (time[1:] != time[:-1]) | (of[1:] != of[:-1])
    machines = len(batch.member_start) - 1
    start = starts_of(of[new], machines)
    known = np.full(machines, NEVER)
    np.maximum.at(known, of_reading, window.known[sources.reading])
    table = np.full((OPERATION_FIELDS, int(start[-1])), np.nan)
    table[AT], table[STATE] = time[new], UNKNOWN
    _combine(table, start, sources, window, *_thresholds(batch, window, sources, memory, rules), batch.points, rules)
    table[SPEED_HELD, table[STATE] == STOPPED] = 0.0
    table[SPEED_HELD, np.isnan(table[SPEED_HELD])] = 1.0
    settle(table, start, rules[LAG])
    return Operation(table, start, of[new], known)


def sources_of(batch: Batch, window: Window, memory: Floats) -> tuple[Ints, Sources]:
    """Machines that have a reading on the day, and the points that tell how they ran.

    These are a machine's operating points, then its signals (not of a route) where neither speed nor power nor current
    has a usable reading, then the plant's ambient.
    """
    quantity = batch.points[:, QUANTITY].astype(np.int64)
    usable = (window.code == SOUND) | (window.code == UNCERTAIN)
    machines = len(batch.member_start) - 1
    active = np.zeros(machines + 1, np.bool_)
    active[batch.machine_of[window.point[window.today]]] = True
    member, of = batch.member, batch.machine_of[batch.member]
    sensing = batch.senses[member] & ~has_tag(batch, window)[of]
    kept = active[of] & (sensing | (quantity[member] >= FIRST_OPERATING))
    running = np.flatnonzero(active[:machines])
    point = np.concatenate([member[kept], np.tile(batch.plant, len(running))])
    machine = np.concatenate([of[kept], np.repeat(running, len(batch.plant))])
    order = np.argsort(machine, kind="stable")
    point, machine = point[order], machine[order]

    lo, hi = window.start[point], window.start[point + 1]
    reading = ranges(lo, hi)
    kind = quantity[point]
    of_reading = np.repeat(np.arange(len(point)), hi - lo)
    signal = kind < FIRST_OPERATING
    level = np.where(usable, window.level, np.nan)[reading]
    zero_is_none = (signal & knows_standstill(memory[point]))[of_reading]
    level[zero_is_none & (window.value[reading] == 0.0)] = np.nan
    return running, Sources(point, machine, kind, np.concatenate(([0], np.cumsum(hi - lo))), reading, level)


def _ends(sources: Sources, window: Window, hold: float, end: float) -> tuple[Floats, Ints]:
    """Times at which a reading has spoken long enough, and the machines of these."""
    usable = np.flatnonzero(~np.isnan(sources.level))
    time = window.time[sources.reading[usable]]
    source = np.repeat(np.arange(len(sources.point)), np.diff(sources.start))[usable]
    last = np.diff(source, append=-1) != 0
    over = time + hold
    silent = (over < end) & (last | (np.append(time[1:], 0.0) > over))
    return over[silent], sources.machine[source[silent]]


def _thresholds(batch: Batch, window: Window, sources: Sources, memory: Floats, rules: Floats) -> tuple[Floats, Floats]:
    """Per source the level under which it says stopped, and from which it says running. A signal that never moved says
    nothing where another of its machine tells running from standstill: it is dead."""
    under, over = np.full(len(sources.point), np.nan), np.full(len(sources.point), np.nan)
    speed = sources.kind == SPEED
    under[speed] = batch.points[sources.point[speed], MIN_RPM]
    fresh = window.today[sources.reading] & ~np.isnan(sources.level)
    source = np.repeat(np.arange(len(sources.point)), np.diff(sources.start))
    for tag in (False, True):
        mine = batch.tells[sources.point] & ~speed if tag else batch.senses[sources.point]
        if not mine.any():
            continue
        chosen = fresh & mine[source]
        level, of = sources.level[chosen], (np.cumsum(mine) - 1)[source[chosen]]
        start = starts_of(of, int(mine.sum()))
        remembered, kind = memory[sources.point[mine]], sources.kind[mine]
        if tag:
            floor = np.where(kind == POWER, rules[POWER_FLOOR], rules[CURRENT_FLOOR])
            under[mine] = least_running(sort_stretches(level, start), start, remembered, rules, floor)
        else:
            under[mine], over[mine], still = votes(level, start, remembered, is_amplitude(kind), rules)
            machine, tells = sources.machine[mine], ~np.isnan(under[mine])
            over[np.flatnonzero(mine)[still & np.isin(machine, machine[tells])]] = np.nan
    return under, over


def _combine(
    table: Floats, start: Ints, sources: Sources, window: Window, under: Floats, over: Floats, points: Floats,
    rules: Floats,
) -> None:  # fmt: skip
    """Hold every source's readings at the machine's times and let them tell state, speed, load and ambient."""
    machines = len(start) - 1
    load_kind = np.full(machines, -1)
    for stand_in in (POWER, CURRENT, LOAD):
        load_kind[sources.machine[sources.kind == stand_in]] = stand_in
    usable = np.flatnonzero(~np.isnan(sources.level))
    of = np.repeat(np.arange(len(sources.point)), np.diff(sources.start))[usable]
    times = np.diff(start)[sources.machine]
    source = np.repeat(np.arange(len(sources.point)), times)
    place = ranges(start[sources.machine], start[sources.machine] + times)
    time = window.time[sources.reading[usable]]
    found = newest_not_after(of, time, source, table[AT, place])
    fresh = found >= 0
    fresh[fresh] = table[AT, place[fresh]] - time[found[fresh]] < rules[HOLD]
    source, place, held = source[fresh], place[fresh], sources.level[usable[found[fresh]]]

    kind = sources.kind[source]
    rank = _rank(sources)[source]
    for k in np.unique(rank):
        for quantity in (SPEED, POWER, CURRENT):
            mine = (kind == quantity) & (rank == k)
            if quantity == SPEED:
                shaft = points[sources.point[source[mine]], SHAFT_RPM]
                _fill(table[SPEED_HELD], place[mine], np.abs(held[mine]) / shaft)
            told = mine & (table[STATE, place] == UNKNOWN)
            turns = np.abs(held[told]) > under[source[told]]
            table[STATE, place[told]] = np.where(turns, RUNNING, STOPPED)
        mine = (kind == load_kind[sources.machine[source]]) & (rank == k)
        _fill(table[LOAD_HELD], place[mine], held[mine])
        mine = (kind == AMBIENT) & (rank == k)
        _fill(table[AMBIENT_HELD], place[mine], held[mine])
    tagged = table[STATE] != UNKNOWN
    table[WITNESSES] = np.where(table[STATE] == RUNNING, 1.0, 0.0)
    signal = kind < FIRST_OPERATING
    runs, stops = (signal & said for said in (held >= over[source], held < under[source]))
    table[STATE, place[stops | (at_rest(held, kind, place, rules) & ~tagged[place])]] = STOPPED
    over_stops = np.bincount(place, runs.astype(float) - stops, table.shape[1])[place]
    table[STATE, place[runs & (~np.isnan(under[source]) | (over_stops >= 0))]] = RUNNING
    as_usual = runs & ~(np.isnan(under[source]) & (held > over[source] + rules[APART_DB] * 2 / 3))
    np.add.at(table[WITNESSES], place[as_usual], 1.0)


def distrust(batch: Batch, window: Window, operation: Operation, place: Ints, memory: Floats, rules: Floats) -> None:
    """A tag that says standstill all the while the machine's signals keep their running level is not believed.

    The signals contradict where ``zero_readings`` of their readings, and at least ``contradicted_share`` of those of
    the day that fall into standstill, say so (``running.surely_running``). The machine's standstill then becomes an
    unknown state, and the tag's readings those of a dead sensor. ``place`` is that of each reading in the operation.
    """
    table, machines = operation.table, len(operation.start) - 1
    asleep = window.today & batch.senses[window.point] & (place >= 0)
    asleep &= (window.code == SOUND) & (table[STATE, place] == STOPPED)
    asleep &= has_tag(batch, window)[batch.machine_of[window.point]]
    index = np.flatnonzero(asleep)
    if not len(index):
        return
    signals, of = np.unique(window.point[index], return_inverse=True)
    awake = surely_running(memory[signals], is_amplitude(batch.points[signals, QUANTITY]), rules)
    machine = batch.machine_of[window.point[index]]
    against = np.bincount(machine[window.level[index] >= awake[of]], minlength=machines)
    share = rules[CONTRADICTED_SHARE] * np.bincount(machine, minlength=machines)
    doubted = (against >= rules[ZERO_READINGS]) & (against >= share)
    still = doubted[operation.machine] & (table[STATE] == STOPPED)
    table[STATE, still], table[SPEED_HELD, still] = UNKNOWN, 1.0
    settle(table, operation.start, rules[LAG])
    tag = batch.tells[window.point] & np.append(doubted, False)[batch.machine_of[window.point]]
    window.code[tag & (window.code == SOUND)] = ZERO


def has_tag(batch: Batch, window: Window) -> Bools:
    """Whether each machine has a usable reading of speed, power or current; the last entry stands for no machine."""
    usable = (window.code == SOUND) | (window.code == UNCERTAIN)
    told = np.zeros(len(batch.member_start), np.bool_)
    told[batch.machine_of[window.point[usable & batch.tells[window.point]]]] = True
    told[-1] = False
    return told


def _rank(sources: Sources) -> Ints:
    """How many sources of the same quantity come before each on its machine."""
    group = sources.machine * 100 + sources.kind
    order = np.argsort(group, kind="stable")
    first = np.searchsorted(group[order], group[order])
    rank = np.empty(len(group), np.int64)
    rank[order] = np.arange(len(group)) - first
    return rank


def _fill(row: Floats, place: Ints, value: Floats) -> None:
    """Write values where the row is still empty."""
    empty = np.isnan(row[place])
    row[place[empty]] = value[empty]


@kernel
def settle(table: Floats, start: Ints, lag: float) -> None:
    """Find the newest start at each time, and put speed, load and ambient through the thermal lag.

    ``y' = (x - y) / lag`` with x constant from each time to the next, solved exactly:
    ``y = x + (y - x) exp(-elapsed / lag)``, from ``y = x`` where x is first known; an unknown x holds y.
    """
    for m in range(start.size - 1):
        newest, before = NEVER, UNKNOWN
        for i in range(start[m], start[m + 1]):
            if table[STATE, i] == RUNNING and before == STOPPED:
                newest = table[AT, i]
            if table[STATE, i] != UNKNOWN:
                before = table[STATE, i]
            table[STARTED, i] = newest
            decay = np.exp((table[AT, i - 1] - table[AT, i]) / lag) if i > start[m] else 0.0
            for k in range(3):
                x, y = np.nan, np.nan
                if i > start[m]:
                    x, y = table[SPEED_HELD + k, i - 1], table[SPEED_LAG + k, i - 1]
                if not np.isnan(x):
                    y = x + (y - x) * decay
                table[SPEED_LAG + k, i] = table[SPEED_HELD + k, i] if np.isnan(y) else y
