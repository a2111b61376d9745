"""What goes wrong between sensor and historian: one function per fault, from true to recorded readings.

Every function takes the readings of one point, shape (n,), and the hours ``begin`` and ``end`` (indices) of the fault,
and returns new readings; NaN means that nothing was recorded.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from condlube.simulation.timeline import FloatArray


def _within(values: FloatArray, begin: int, end: int, replaced: FloatArray | float) -> FloatArray:
    hours = np.arange(len(values))
    return np.where((hours >= begin) & (hours < end), replaced, values)


def dead_at_zero(values: FloatArray, begin: int, end: int) -> FloatArray:
    """A dead channel: exact zeros."""
    return _within(values, begin, end, 0.0)


def frozen(values: FloatArray, begin: int, end: int) -> FloatArray:
    """The last good value, repeated."""
    return _within(values, begin, end, values[min(max(begin - 1, 0), len(values) - 1)])


def full_scale(values: FloatArray, begin: int, end: int, limit: float) -> FloatArray:
    """Saturated at ``limit``."""
    return _within(values, begin, end, limit)


def gain_db(values: FloatArray, begin: int, end: int, step_db: float) -> FloatArray:
    """A gain that jumps, on a scale in dB."""
    return _within(values, begin, end, values + step_db)


def gain(values: FloatArray, begin: int, end: int, factor: float) -> FloatArray:
    """A gain that jumps, on a linear scale: a sensor that lets go reads a fraction."""
    return _within(values, begin, end, values * factor)


def outage(values: FloatArray, begin: int, end: int) -> FloatArray:
    """Nothing recorded."""
    return _within(values, begin, end, np.nan)


FAULTS: dict[str, Callable[..., FloatArray]] = {
    "dead_at_zero": dead_at_zero,
    "frozen": frozen,
    "full_scale": full_scale,
    "gain_db": gain_db,
    "gain": gain,
    "outage": outage,
}
