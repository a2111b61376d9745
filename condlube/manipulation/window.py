"""The readings of one day and its lookback, of all points one after another."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.manipulation.fields import CODE, KNOWN_AT, LEVEL, TIME, VALUE
from condlube.manipulation.kernel import Bools, Floats, Ints, ranges
from condlube.manipulation.layout import Batch


class Window(NamedTuple):
    """Readings of point p are ``start[p]:start[p + 1]``."""

    time: Floats
    value: Floats
    code: Floats
    known: Floats
    level: Floats  # dB of an amplitude, else the value
    start: Ints
    point: Ints
    today: Bools  # of the day itself, not of its lookback


def window_of(batch: Batch, day: int) -> Window:
    """The window of one day; its codes are a copy that may be written to."""
    lo = batch.positions(batch.since[day])
    hi = batch.positions(batch.end[day])
    index = ranges(lo, hi)
    time, value, code, known, level = (batch.readings[field, index] for field in (TIME, VALUE, CODE, KNOWN_AT, LEVEL))
    start = np.concatenate(([0], np.cumsum(hi - lo)))
    point = np.repeat(np.arange(len(lo)), hi - lo)
    return Window(time, value, code, known, level, start, point, time >= batch.begin[day])
