"""Signal quality: one criterion per function. What one reading tells by itself (marked bad, out of physical range, full
scale, clock) is decided where readings are laid out; here are the criteria that need its neighbours or the day.

Every ``flag_*`` function looks at the readings of one point from the lookback to the end of the day, shape (n,), and
writes its code over those that were sound. Nothing after the day is looked at, so a day can be summarised once.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints, kernel
from condlube.manipulation.layout import ACCELERATION, TEMPERATURE, ULTRASOUND, VELOCITY, Numbers
from condlube.manipulation.levels import decibel
from condlube.manipulation.memory import HIGH, LOW, READINGS, RULED, RUN_HIGH, RUN_LOW, STOP_HIGH, STOP_LOW
from condlube.manipulation.reasons import (
    BAD, CLOCK, FROZEN, FULL_SCALE, GAP, QUANTISED, RANGE, SOUND, SPIKE, STALE, UNIT_JUMP, ZERO,
)  # fmt: skip

INCH, GRAVITY, KELVIN = 25.4, 9.80665, 273.15


@kernel
def flag_zero(value: Floats, running: Bools, code: Ints, quantity: int, least: int) -> None:
    """Exact zeros in a row while the machine runs; a single one where zero cannot be a level (amplitudes)."""
    needed = least if quantity == ULTRASOUND or quantity == TEMPERATURE else 1
    n = 0
    for i in range(value.size):
        n = n + 1 if value[i] == 0.0 and running[i] and code[i] <= ZERO and code[i] in (SOUND, RANGE) else 0
        if n >= needed:
            code[i - n + 1 : i + 1] = ZERO


@kernel
def flag_frozen(
    time: Ints, value: Floats, running: Bools, ambient: Floats, code: Ints, quantity: int, memory: Floats,
    numbers: Numbers,
) -> None:  # fmt: skip
    """Equal values for longer than the point ever holds still, from where they began.

    A run of n equal values is frozen if it lasts ``frozen_h`` and ``frozen_readings`` and if ``n log2(1/r)`` reaches
    ``frozen_bits``, with r the share of neighbours that are equal outside the run: a finely resolved signal never
    repeats (r near 0), one in whole degrees does so all the time. Remembered days that were flat at one value raise r;
    those at the run's own value that lead up to it belong to the run. Before anything is known r is 1/2, or 9/10 if
    all values are whole numbers. Where ambient moved by ``frozen_ambient_k`` during the run a temperature has no such
    excuse: r is at most 1/2.
    """
    n = value.size
    pairs, equal, whole = 0, 0, True
    last = -1
    for i in range(n):
        if _may_freeze(code[i], running[i]):
            whole &= value[i] == np.floor(value[i])
            if last >= 0:
                pairs += 1
                equal += _same(value[i], value[last])
            last = i
    usual_equal, usual_pairs = (9.0, 10.0) if whole else (1.0, 2.0)
    first = -1
    previous, length, leads = -1, 0, True
    for i in range(n + 1):
        if i < n and not _may_freeze(code[i], running[i]):
            continue
        if i < n and previous >= 0 and _same(value[i], value[previous]):
            length += 1
            previous = i
            continue
        if (
            previous >= 0
            and length >= numbers.frozen_readings
            and time[previous] - time[first] >= numbers.frozen
        ):
            total, still = _stillness(value[first], float(length), leads, memory, numbers)
            repeats = (equal - (length - 1) + usual_equal) / (pairs - (length - 1) + usual_pairs)
            repeats = max(repeats, still)
            span = ambient[first : previous + 1]
            if quantity == TEMPERATURE and _range(span) >= numbers.frozen_ambient_k:
                repeats = min(repeats, 0.5)
            if -total * np.log2(repeats) >= numbers.frozen_bits:
                for j in range(first, previous + 1):
                    if _may_freeze(code[j], running[j]):
                        code[j] = FROZEN
        leads = previous < 0
        first, previous, length = i, i, 1


@kernel
def _may_freeze(code: int, running: bool) -> bool:
    return running and code == SOUND


@kernel
def _same(a: float, b: float) -> bool:
    """Equal but for the rounding of a unit conversion."""
    return abs(a - b) <= 1e-9 * max(abs(a), abs(b))


@kernel
def _range(value: Floats) -> float:
    low, high = np.inf, -np.inf
    for v in value:
        low, high = np.fmin(low, v), np.fmax(high, v)
    return high - low


@kernel
def _stillness(value: float, length: float, leads: bool, memory: Floats, numbers: Numbers) -> tuple[float, float]:
    """Length of a run with the remembered days that lead up to it, and the repeat share that flat days stand for."""
    before = memory.shape[0]
    total = length
    while leads and before > 0 and _flat(memory[before - 1]) and _same(memory[before - 1, LOW], value):
        before -= 1
        if before < memory.shape[0] - numbers.lookback_days:
            total += memory[before, READINGS]
    days, flat, readings = 0, 0, 0.0
    for k in range(before):
        if memory[k, READINGS] > 0:
            days += 1
            flat += _flat(memory[k])
            readings += memory[k, READINGS]
    if days < 3:
        return total, 0.0
    return total, ((flat + 0.5) / (days + 1.0)) ** (days / readings)


@kernel
def _flat(day: Floats) -> bool:
    return day[READINGS] > 1 and day[LOW] == day[HIGH]


@kernel
def flag_spikes(value: Floats, running: Bools, code: Ints, quantity: int, numbers: Numbers) -> None:
    """Single readings far from both neighbours, which agree; the newest reading has no neighbour yet."""
    limit = numbers.spike_k if quantity == TEMPERATURE else numbers.spike_db
    logarithmic = quantity != ULTRASOUND and quantity != TEMPERATURE
    level = np.array([decibel(v, logarithmic) for v in value])
    for i in range(1, value.size - 1):
        if code[i] == SOUND and code[i - 1] == SOUND and code[i + 1] == SOUND and running[i - 1 : i + 2].all():
            near = min(abs(level[i] - level[i - 1]), abs(level[i] - level[i + 1]))
            if near >= limit and abs(level[i + 1] - level[i - 1]) <= limit / 2:
                code[i] = SPIKE


@kernel
def flag_unit_jump(
    value: Floats, running: Bools, code: Ints, quantity: int, memory: Floats, today: int, numbers: Numbers
) -> None:
    """Everything from a step by the factor of a unit conversion on, until a step by such a factor back.

    At the step the medians of ``unit_readings`` on either side stand in the ratio of a conversion (mm/s and in/s, g and
    m/s²; °C, °F and K) within ``unit_tolerance``, and the step is one between neighbours, into levels that the
    remembered days never saw. The lookback begins as the day before it was ruled; a step older than the lookback is
    known by the newest remembered day. ``today`` is the first reading of the day.
    """
    if quantity != TEMPERATURE and quantity != ACCELERATION and quantity != VELOCITY:
        return
    index = np.flatnonzero(running & (code != BAD) & (code != CLOCK))
    k = numbers.unit_readings
    low, high = np.inf, -np.inf
    for day in memory:
        low = np.fmin(low, np.fmin(day[RUN_LOW], day[STOP_LOW]))
        high = np.fmax(high, np.fmax(day[RUN_HIGH], day[STOP_HIGH]))
    early = memory.shape[0] - numbers.lookback_days
    jumped = ruled_by_unit(memory[:early])
    stepped = False
    for place in range(index.size):
        i = index[place]
        if i >= today and not stepped:
            jumped = ruled_by_unit(memory)
            stepped = True
        if place >= k and place + k <= index.size:
            left = np.median(value[index[place - k : place]])
            right = np.median(value[index[place : place + k]])
            step = value[i] - value[index[place - 1]]
            if is_conversion(left, right, step, quantity, numbers.unit_tolerance):
                spread = numbers.unit_tolerance * abs(right - left)
                if jumped or not (low - spread <= right <= high + spread):
                    jumped, stepped = not jumped, True
        if not jumped:
            low, high = min(low, value[i]), max(high, value[i])
        elif code[i] in (SOUND, RANGE, FULL_SCALE):
            code[i] = UNIT_JUMP


@kernel
def ruled_by_unit(memory: Floats) -> bool:
    """Whether the newest remembered day was ruled by a unit jump."""
    for k in range(memory.shape[0] - 1, -1, -1):
        if memory[k, READINGS] > 0:
            return memory[k, RULED] == UNIT_JUMP
    return False


@kernel
def is_conversion(left: float, right: float, step: float, quantity: int, tolerance: float) -> bool:
    """Whether ``right`` is ``left`` in another unit of the quantity, reached in one ``step``."""
    if quantity == TEMPERATURE:
        candidates = (1.8 * left + 32.0, (left - 32.0) / 1.8, left + KELVIN, left - KELVIN)
    else:
        factor = GRAVITY if quantity == ACCELERATION else INCH
        candidates = (left * factor, left / factor, left * factor, left / factor)
    for wanted in candidates:
        size = abs(wanted - left)
        if quantity == TEMPERATURE:
            near = abs(right - wanted) <= tolerance * size and size > 20.0
        else:
            near = left > 0.0 and right > 0.0 and abs(right / wanted - 1.0) <= tolerance
        if near and abs(step) >= (1.0 - 3.0 * tolerance) * size:
            return True
    return False


@kernel
def is_gap(coverage: float, least: float) -> bool:
    """Too few of the expected readings to speak for the day."""
    return coverage < least


@kernel
def is_stale(last: int, end: int, interval: float, limit: int) -> bool:
    """The newest reading is older at the day's end than ``limit``, and than the point's usual interval explains."""
    return end - last > max(float(limit), 2.0 * interval)


@kernel
def is_quantised(value: Floats, quantity: int, coarsest: float) -> bool:
    """Neighbouring values lie further apart than can be judged; told only where values repeat, of at least twelve."""
    ordered = np.sort(value)
    if ordered.size < 12:
        return False
    step, distinct = np.inf, 1
    for i in range(1, ordered.size):
        if not _same(ordered[i], ordered[i - 1]):
            distinct += 1
            step = min(step, ordered[i] - ordered[i - 1])
    if distinct < 2 or distinct > ordered.size // 2:
        return False
    relative = quantity != ULTRASOUND and quantity != TEMPERATURE
    return step > coarsest * (abs(np.median(ordered)) if relative else 1.0)


@kernel
def ruling(code: Ints, share: float) -> int:
    """The most frequent fault of a day's readings, if it holds at least ``share`` of them; else sound."""
    counts = np.bincount(code, minlength=GAP)
    counts[SOUND] = 0
    fault = int(np.argmax(counts))
    return fault if code.size and counts[fault] >= share * code.size and counts[fault] > 0 else SOUND
