"""Running state of a machine: from speed, power or current, else from its vibration and ultrasound, else unknown."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints, kernel
from condlube.manipulation.layout import ACCELERATION, CURRENT, POWER, ULTRASOUND, VELOCITY, Batch, Numbers
from condlube.manipulation.levels import decibel, empty_band
from condlube.manipulation.memory import (
    READINGS, RUN_HIGH, RUN_LOW, RUN_MID, RUN_N, STOP_HIGH, STOP_LOW, STOP_MID, STOP_N,
)  # fmt: skip
from condlube.manipulation.reasons import SOUND, UNCERTAIN

STOPPED, RUNNING, UNKNOWN = 0, 1, 2


@kernel
def usable(code: Ints) -> Bools:
    """Readings that may tell of the machine's operation: sound or uncertain."""
    return (code == SOUND) | (code == UNCERTAIN)


@kernel
def senses(quantity: int) -> bool:
    """Whether standstill shows in the level of this signal."""
    return quantity == ULTRASOUND or quantity == ACCELERATION or quantity == VELOCITY


@kernel
def tag_threshold(quantity: int, value: Floats, memory: Floats, numbers: Numbers) -> float:
    """Power or current above which the machine runs: a share of its own upper level, and never below a floor."""
    upper = np.percentile(value, 90.0) if value.size else 0.0
    for k in range(memory.shape[0]):
        if memory[k, RUN_N] > 0:
            upper = max(upper, memory[k, RUN_HIGH])
    floor = numbers.power_floor if quantity == POWER else numbers.current_floor
    return max(numbers.level_share * upper, floor)


@kernel
def votes(level: Floats, memory: Floats, logarithmic: bool, numbers: Numbers) -> tuple[float, float]:
    """Levels (dB) under which one signal says stopped, and over which it says running; between them it says nothing.

    ``level`` are the day's levels in time order, ``memory`` (days, REMEMBERED) the days before. NaN: never says so.

    With two clear levels (``empty_band``) both are the middle of the band, once the signal has changed sides often
    enough: a fault that came and was repaired is no standstill. A level that was already taken as running needs more
    changes. A signal that stood still on its newest remembered day goes on standing still until it rises.
    A signal without two levels that keeps within a third of a band of its usual level says that the machine runs.
    """
    threshold = _band(level, memory, logarithmic, numbers)
    if np.isnan(threshold):
        newest = -1
        for k in range(memory.shape[0]):
            if memory[k, READINGS] > 0:
                newest = k
        if newest >= 0 and memory[newest, RUN_N] == 0 and memory[newest, STOP_N] > 0:
            threshold = decibel(memory[newest, STOP_HIGH], logarithmic) + numbers.apart_db / 2
    if not np.isnan(threshold):
        return threshold, threshold
    usual = np.nan
    for k in range(memory.shape[0]):
        if memory[k, RUN_N] > 0:
            usual = np.fmax(usual, decibel(memory[k, RUN_MID], logarithmic))
    return np.nan, usual - numbers.apart_db / 3


@kernel
def _band(level: Floats, memory: Floats, logarithmic: bool, numbers: Numbers) -> float:
    """Middle of the band between two levels that the signal has changed between often enough, else NaN."""
    if level.size == 0:
        return np.nan
    low, high = level.min(), level.max()
    for k in range(memory.shape[0]):
        if memory[k, RUN_N] > 0 or memory[k, STOP_N] > 0:
            low = min(low, decibel(np.fmin(memory[k, RUN_LOW], memory[k, STOP_LOW]), logarithmic))
            high = max(high, decibel(np.fmax(memory[k, RUN_HIGH], memory[k, STOP_HIGH]), logarithmic))
    if high - low < numbers.apart_db:
        return np.nan
    size = level.size + 6 * memory.shape[0]
    levels, weights = np.empty(size), np.ones(size)
    levels[: level.size] = level
    n = level.size
    for k in range(memory.shape[0]):
        for count, first in ((RUN_N, RUN_LOW), (STOP_N, STOP_LOW)):
            if memory[k, count] > 0:
                for part in range(3):
                    levels[n] = decibel(memory[k, first + part], logarithmic)
                    weights[n] = memory[k, count] * (0.5 if part == 1 else 0.25)
                    n += 1
    threshold = empty_band(levels[:n], weights[:n], numbers.apart_db, numbers.between_share, numbers.side_share)
    if np.isnan(threshold):
        return np.nan
    changes, established, side = 0, False, -1
    for k in range(memory.shape[0]):
        if memory[k, RUN_N] == 0 and memory[k, STOP_N] == 0:
            continue
        below = decibel(np.fmin(memory[k, RUN_LOW], memory[k, STOP_LOW]), logarithmic) < threshold
        above = decibel(np.fmax(memory[k, RUN_HIGH], memory[k, STOP_HIGH]), logarithmic) >= threshold
        established |= memory[k, RUN_N] > 0 and decibel(memory[k, RUN_MID], logarithmic) < threshold
        now = 2 if below and above else int(above)
        changes += now == 2 or (side == 0 and now == 1) or (side == 1 and now == 0)
        side = now
    for value in level:
        now = int(value >= threshold)
        changes += side != -1 and side != 2 and side != now
        side = now
    return threshold if changes >= numbers.swings - (not established) else np.nan


@kernel
def knows_zero(memory: Floats) -> bool:
    """Whether an exact zero may be standstill: no other standstill level of the signal is remembered."""
    for k in range(memory.shape[0]):
        if memory[k, STOP_N] > 0 and memory[k, STOP_MID] > 0:
            return False
    return True


@kernel
def is_tag(quantity: int) -> bool:
    """Power and current tell running from standstill by a threshold of the machine's own."""
    return quantity == POWER or quantity == CURRENT
