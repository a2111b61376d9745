"""Unit jumps: a level that steps by the factor of a unit conversion, and stays."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import READINGS, RULED, RUN_HIGH, RUN_LOW, STOP_HIGH, STOP_LOW
from condlube.manipulation.kernel import Bools, Floats
from condlube.manipulation.quantities import ACCELERATION, TEMPERATURE, VELOCITY
from condlube.manipulation.reasons import BAD, CLOCK, FULL_SCALE, RANGE, SOUND, UNIT_JUMP
from condlube.manipulation.rules import LOOKBACK_DAYS, UNIT_READINGS, UNIT_TOLERANCE
from condlube.manipulation.window import Window

INCH_MM, GRAVITY_M_S2, KELVIN = 25.4, 9.80665, 273.15
LEAST_K = 20.0  # a smaller change of temperature says nothing of its unit
LEAST_STEP = 14.0  # K or dB; every conversion is a larger step, even with the widest tolerance


def conversions(left: Floats, quantity: Floats) -> list[Floats]:
    """What a level would become in the other units of its quantity: °C, °F, K; mm/s, in/s; g, m/s²."""
    warm = quantity == TEMPERATURE
    factor = np.where(quantity == ACCELERATION, GRAVITY_M_S2, INCH_MM)
    return [
        np.where(warm, 1.8 * left + 32.0, left * factor), np.where(warm, (left - 32.0) / 1.8, left / factor),
        np.where(warm, left + KELVIN, left * factor), np.where(warm, left - KELVIN, left / factor),
    ]  # fmt: skip


def is_conversion(left: Floats, right: Floats, quantity: Floats, tolerance: float) -> Bools:
    """Whether ``right`` is ``left`` in another unit of the quantity, within a share ``tolerance`` of the change."""
    found = np.zeros(np.shape(left), np.bool_)
    for wanted in conversions(left, quantity):
        size = np.abs(wanted - left)
        near = np.abs(right - wanted) <= tolerance * np.where(quantity == TEMPERATURE, size, np.abs(wanted))
        found |= near & np.where(quantity == TEMPERATURE, size > LEAST_K, left > 0)
    return found


def flag_unit_jump(
    window: Window, running: Bools, witnesses: Floats, quantity: Floats, memory: Floats, rules: Floats
) -> None:
    """Everything from a step by the factor of a unit conversion on, until a step by such a factor back.

    At the step the medians of ``unit_readings`` on either side stand in the ratio of a conversion within
    ``unit_tolerance``, the step is one between neighbours, and it leads to a level that was not seen before. A start or
    stop can be a step of any size, so a step of an amplitude needs a witness that the machine ran as usual before and
    after (``witnesses``, at each reading). A step older than the lookback is known by how the newest remembered day was
    ruled.
    """
    of_reading = quantity[window.point]
    candidate = running & (window.code != BAD) & (window.code != CLOCK)
    candidate &= np.isin(of_reading, (TEMPERATURE, ACCELERATION, VELOCITY))
    index = np.flatnonzero(candidate)
    point, value = window.point[index], window.value[index]
    stepped = np.zeros(len(index), np.bool_)
    large = 1 + np.flatnonzero((np.abs(np.diff(window.level[index])) >= LEAST_STEP) & (np.diff(point) == 0))
    loose = 3.0 * rules[UNIT_TOLERANCE]
    witnessed = (witnesses[index[large]] >= 1) & (witnesses[index[large - 1]] >= 1)
    large = large[witnessed | (quantity[point[large]] == TEMPERATURE)]
    stepped[large] = is_conversion(value[large - 1], value[large], quantity[point[large]], loose)
    suspects = (memory[:, :, RULED] == UNIT_JUMP).any(axis=1)
    suspects[point[stepped]] = True
    for p in np.flatnonzero(suspects):
        mine = point == p
        _flag_point(window, index[mine], stepped[mine], quantity[p], memory[p], rules)


def _flag_point(
    window: Window, index: np.ndarray, stepped: Bools, quantity: float, memory: Floats, rules: Floats
) -> None:
    """The same for one point: ``index`` are its readings in the window, ``stepped`` those after a suspicious step."""
    value, side, tolerance = window.value[index], int(rules[UNIT_READINGS]), rules[UNIT_TOLERANCE]
    low = np.fmin.reduce(memory[:, [RUN_LOW, STOP_LOW]], axis=None)
    high = np.fmax.reduce(memory[:, [RUN_HIGH, STOP_HIGH]], axis=None)
    today = np.flatnonzero(window.today[index])
    begin = int(today[0]) if len(today) else len(index)
    jumped = _ruled(memory[: -int(rules[LOOKBACK_DAYS])])
    if not stepped[:begin].any():
        jumped = _ruled(memory)
    for i in range(len(index)):
        if stepped[i] and side <= i <= len(index) - side:
            left, right = np.median(value[i - side : i]), np.median(value[i : i + side])
            if is_conversion(np.array([left]), np.array([right]), np.array([quantity]), tolerance)[0]:
                spread = tolerance * abs(right - left)
                if jumped or not low - spread <= right <= high + spread:
                    jumped = not jumped
        if not jumped:
            low, high = np.fmin(low, value[i]), np.fmax(high, value[i])
        elif window.code[index[i]] in (SOUND, RANGE, FULL_SCALE):
            window.code[index[i]] = UNIT_JUMP


def _ruled(memory: Floats) -> bool:
    """Whether the newest remembered day was ruled by a unit jump."""
    seen = np.flatnonzero(memory[:, READINGS] > 0)
    return bool(len(seen) and memory[seen[-1], RULED] == UNIT_JUMP)
