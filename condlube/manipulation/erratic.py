"""Erratic: readings that jump to and fro all day further than a machine does, as those of a broken cable do."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import READINGS, RULED, RUN_N, STOP_N
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.manipulation.quantities import KURTOSIS, TEMPERATURE
from condlube.manipulation.reasons import ERRATIC, FROZEN, NO_SIGNAL, SOUND, SPIKE, ZERO
from condlube.manipulation.rules import CELL_WIDTH, DAY, ERRATIC_DB, ERRATIC_SHARE, ERRATIC_STEPS
from condlube.manipulation.window import Window

_HEARD = (SOUND, ZERO, NO_SIGNAL, FROZEN, SPIKE)
_WITH = 0.5  # another signal of the machine that steps so much of the limit, too, says that the machine did
_LOOKING = DAY / 48  # it is looked for so close to the step: half an hour
_COARSE = 2.0  # times the limit: a step of readings that mostly repeat may be one of their resolution
_AGAIN = 0.5  # of the share of jumps, the day after an erratic one
_KNOWN = 7  # days on record from which a machine is known not to stop and start by habit


def flag_erratic(
    window: Window, running: Bools, speed: Floats, tagged: Bools, machine: Ints, quantity: Floats, memory: Floats,
    rules: Floats,
) -> None:  # fmt: skip
    """Mark the day's sound or spiky running readings of erratic signals: ultrasound, acceleration and velocity.

    A pair of neighbouring readings of the day counts where the machine ran on at like speed (``speed`` at each reading,
    in any unit). Where no reading is ``tagged`` the signal itself may have told running from standstill, and its jumps
    count in either, unless it stopped and started by habit, as its ``memory`` tells. Zeros and readings without a
    signal belong to it: a cable that opens and closes reads both. A step that another signal of the machine makes as
    well, to the same side and at least half as far, is the machine's. Of readings that mostly repeat, steps from and to
    zero and those less than twice as far do not count: they may be steps of a coarse reading. A signal that was erratic
    on its last day stays so while it jumps half as often. ``machine`` is that of each point, -1 where it has none.
    """
    sensing = (quantity < TEMPERATURE) & ~np.isin(quantity, [KURTOSIS, KURTOSIS + 1])
    untold = ~tagged & ~_stops_by_habit(memory)[window.point]
    running, speed = running | untold, np.where(untold, 1.0, speed)
    index = np.flatnonzero(window.today & running & np.isin(window.code, _HEARD) & sensing[window.point])
    pair = np.flatnonzero(np.diff(window.point[index]) == 0)
    if not len(pair):
        return
    before, after = index[pair], index[pair + 1]
    ratio = speed[after] / np.maximum(speed[before], 1e-9)
    like = ~((ratio > 1.0 + rules[CELL_WIDTH]) | (ratio < 1.0 / (1.0 + rules[CELL_WIDTH])))
    step = window.level[after] - window.level[before]
    point = window.point[after]
    far = like & (np.abs(step) >= rules[ERRATIC_DB])
    count = np.bincount(point[like], minlength=len(quantity))
    limit = np.maximum(rules[ERRATIC_SHARE] * np.where(_was_erratic(memory), _AGAIN, 1.0) * count, 1.0)
    wild = (count >= rules[ERRATIC_STEPS]) & (np.bincount(point[far], minlength=len(quantity)) >= limit)
    for p in np.flatnonzero(wild):
        own = np.flatnonzero(far & (point == p))
        mates = np.flatnonzero((machine[point] == machine[p]) & (point != p)) if machine[p] >= 0 else own[:0]
        mates = mates[np.abs(step[mates]) >= _WITH * rules[ERRATIC_DB]]
        mates = mates[np.argsort(window.time[after[mates]], kind="stable")]
        if 2 * len(np.unique(window.value[after[point == p]])) <= (point == p).sum():
            shown = (window.value[before[own]] != 0.0) & (window.value[after[own]] != 0.0)
            own = own[shown & (np.abs(step[own]) >= _COARSE * rules[ERRATIC_DB])]
        alone = ~_stepped(window.time[after[own]], np.sign(step[own]), window.time[after[mates]], np.sign(step[mates]))
        wild[p] = alone.sum() >= limit[p]
    told = np.isin(window.code, (SOUND, SPIKE))
    window.code[window.today & running & told & wild[window.point]] = ERRATIC


def _stops_by_habit(memory: Floats) -> Bools:
    """Which signals told both running and standstill on one day in four on record, or have too few days to tell."""
    days = (memory[:, :, READINGS] > 0).sum(axis=1)
    both = ((memory[:, :, RUN_N] > 0) & (memory[:, :, STOP_N] > 0)).sum(axis=1)
    return np.asarray((days < _KNOWN) | (4 * both >= days))


def _was_erratic(memory: Floats) -> Bools:
    """Which signals were erratic on their newest day on record."""
    newest = memory.shape[1] - 1 - np.argmax(memory[:, ::-1, READINGS] > 0, axis=1)
    return np.asarray(memory[np.arange(len(memory)), newest, RULED] == ERRATIC)


def _stepped(time: Floats, side: Floats, others: Floats, theirs: Floats) -> Bools:
    """Which of the steps others made too, at about the ``time`` and to the same side; ``others`` ascend."""
    made = np.zeros(len(time), dtype=np.bool_)
    for to in (-1.0, 1.0):
        same = others[theirs == to]
        first = np.searchsorted(same, time - _LOOKING)
        near = first < np.searchsorted(same, time + _LOOKING, side="right")
        made |= near & (side == to)
    return made
