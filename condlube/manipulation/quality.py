"""Signal quality: one criterion per function. What one reading tells by itself (marked bad, out of physical range, full
scale, clock) is decided where readings are laid out; here are the criteria that need its neighbours or the day.

Every ``flag_*`` function goes over the readings of all points from the lookback to the end of the day and writes its
code over those that were sound. Nothing after the day is looked at, so a day can be summarised once. ``quantity`` and
``memory`` (points, days, REMEMBERED: the days before) are per point; ``running`` is false at standstill.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import HIGH, LOW, READINGS
from condlube.manipulation.kernel import Bools, Floats, Ints, starts_of
from condlube.manipulation.quantities import FIRST_OPERATING, TEMPERATURE, is_amplitude
from condlube.manipulation.reasons import FROZEN, NO_SIGNAL, SOUND, SPIKE, ZERO
from condlube.manipulation.rules import (
    FROZEN_AMBIENT_K,
    FROZEN_BITS,
    FROZEN_FOR,
    FROZEN_READINGS,
    LOOKBACK_DAYS,
    SPIKE_DB,
    SPIKE_K,
    ZERO_READINGS,
    rest_of,
)  # fmt: skip
from condlube.manipulation.window import Window


def is_same(a: Floats, b: Floats) -> Bools:
    """Equal but for the rounding of a unit conversion."""
    return np.asarray(np.abs(a - b) <= 1e-9 * np.maximum(np.abs(a), np.abs(b)))


def runs(same: Bools) -> tuple[Ints, Ints]:
    """First of each run and one past its last, where ``same[i]`` tells that i goes on with the run of i - 1."""
    first = np.flatnonzero(~same)
    return first, np.append(first, len(same))[1:]


def flag_zero(window: Window, running: Bools, quantity: Floats, rules: Floats) -> None:
    """Exact zeros in a row while the machine runs; a single one where zero cannot be a level. Amplitudes that are no
    more than a sensor's own noise then are no signal."""
    point = window.point
    zero = (window.value == 0.0) & running & (window.code == SOUND) & (quantity[point] < FIRST_OPERATING)
    index = np.flatnonzero(zero)
    first, end = runs(np.append(False, (np.diff(index) == 1) & (np.diff(point[index]) == 0))[: len(index)])
    needed = np.where(is_amplitude(quantity), 1.0, rules[ZERO_READINGS])
    long = end - first >= needed[point[index[first]]]
    window.code[index[np.repeat(long, end - first)]] = ZERO
    dead = running & (window.code == SOUND) & (window.value <= rest_of(rules)[quantity[point].astype(np.int64)])
    window.code[dead] = NO_SIGNAL


def flag_frozen(
    window: Window, running: Bools, ambient: Floats, quantity: Floats, memory: Floats, rules: Floats
) -> None:
    """Equal values for longer than the point ever holds still, from where they began.

    A run of n equal values is frozen if it lasts ``frozen_h`` and ``frozen_readings`` and if ``n log2(1/r)`` reaches
    ``frozen_bits``, with r the share of neighbours that are equal outside the run: a finely resolved signal never
    repeats (r near 0), one in whole degrees does so all the time. Remembered days that were flat at one value raise r;
    those at the run's own value that lead up to it belong to the run. Before anything is known r is 1/2, or 9/10 if
    all values are whole numbers. Where ambient moved by ``frozen_ambient_k`` during the run a temperature has no such
    excuse: r is at most 1/2. ``ambient`` is that at each reading.
    """
    points = len(quantity)
    index = np.flatnonzero(running & (window.code == SOUND) & (quantity[window.point] < FIRST_OPERATING))
    point, value, time = window.point[index], window.value[index], window.time[index]
    neighbours = np.append(False, np.diff(point) == 0)[: len(index)]
    same = neighbours.copy()
    same[1:] &= is_same(value[1:], value[:-1])
    first, end = runs(same)
    n = (end - first).astype(np.float64)
    long = (n >= rules[FROZEN_READINGS]) & (time[end - 1] - time[first] >= rules[FROZEN_FOR])
    first, end, n = first[long], end[long], n[long]
    if not len(first):
        return
    of = point[first]
    whole = np.bincount(point[value != np.floor(value)], minlength=points)[of] == 0
    prior = np.where(whole, 9.0, 1.0)
    equal, pairs = (np.bincount(point[which], minlength=points)[of] for which in (same, neighbours))
    repeats = (equal - (n - 1.0) + prior) / (pairs - (n - 1.0) + prior + 1.0)
    total, still = stillness(value[first], n, ~neighbours[first], memory[of], int(rules[LOOKBACK_DAYS]))
    repeats = np.maximum(repeats, still)
    swing = np.array([_range(ambient[index[a:b]]) for a, b in zip(first, end, strict=True)])
    moved = (quantity[of] == TEMPERATURE) & (swing >= rules[FROZEN_AMBIENT_K])
    repeats[moved] = np.minimum(repeats[moved], 0.5)
    frozen = -total * np.log2(repeats) >= rules[FROZEN_BITS]
    for a, b in zip(first[frozen], end[frozen], strict=True):
        window.code[index[a:b]] = FROZEN


def stillness(value: Floats, n: Floats, leads: Bools, memory: Floats, lookback_days: int) -> tuple[Floats, Floats]:
    """Length of runs of ``n`` values with the remembered days that lead up to them, where a run ``leads`` its window;
    and the share of equal neighbours that the flat days among the others stand for. ``memory`` is per run."""
    seen = memory[:, :, READINGS] > 0
    flat = (memory[:, :, READINGS] > 1) & (memory[:, :, LOW] == memory[:, :, HIGH])
    alike = flat & is_same(memory[:, :, LOW], value[:, None]) & leads[:, None]
    own = np.logical_and.accumulate(alike[:, ::-1], axis=1)[:, ::-1]
    before = own.copy()
    before[:, memory.shape[1] - lookback_days :] = False
    total = n + np.where(before, memory[:, :, READINGS], 0.0).sum(axis=1)
    others = seen & ~own
    days = others.sum(axis=1)
    readings = np.where(others, memory[:, :, READINGS], 0.0).sum(axis=1)
    known = days >= 3
    share = np.zeros(len(n))
    share[known] = ((flat & others).sum(axis=1) / (days + 1.0))[known] ** (days[known] / readings[known])
    return total, share


def _range(value: Floats) -> float:
    return float(np.fmax.reduce(value) - np.fmin.reduce(value))


def flag_spikes(window: Window, running: Bools, quantity: Floats, rules: Floats) -> None:
    """Single readings far from both neighbours, which agree; the newest reading has no neighbour yet."""
    of_reading = quantity[window.point]
    sound = (window.code == SOUND) & running & (of_reading < FIRST_OPERATING)
    level = np.where(sound, window.level, np.nan)
    limit = np.where(of_reading == TEMPERATURE, rules[SPIKE_K], rules[SPIKE_DB])[1:-1]
    step = np.diff(level)
    away = np.minimum(np.abs(step[:-1]), np.abs(step[1:])) >= limit
    inner = np.diff(window.point) == 0
    spike = away & (np.abs(level[2:] - level[:-2]) <= limit / 2) & inner[:-1] & inner[1:]
    window.code[1:-1][spike] = SPIKE


def is_gap(coverage: Floats, least: float) -> Bools:
    """Too few of the expected readings to speak for the day."""
    return coverage < least


def is_stale(last: Floats, end: float, interval: Floats, limit: float) -> Bools:
    """The newest reading is older at the day's end than ``limit``, and than the point's usual interval explains."""
    return end - last > np.maximum(limit, 2.0 * interval)


def is_quantised(value: Floats, point: Ints, quantity: Floats, coarsest: Floats) -> Bools:
    """Steps between neighbouring values are coarser than can be judged, per point.

    ``value`` are sound readings and their ``point``, sorted by point. Told only of twelve readings or more of which
    half repeat another; of an amplitude the step counts as a share of the median.
    """
    step = np.abs(np.diff(value))
    step[(np.diff(point) != 0) | is_same(value[1:], value[:-1])] = np.inf
    least, unit = np.full((2, len(quantity)), np.inf)
    np.minimum.at(least, point[1:], step)
    np.minimum.at(unit, point, np.abs(value))
    amplitude = is_amplitude(quantity)
    unit[~amplitude] = 1.0
    start = starts_of(point, len(quantity))
    out = np.zeros(len(quantity), np.bool_)
    for p in np.flatnonzero(np.isfinite(least) & (least > coarsest * unit) & (np.diff(start) >= 12)):
        level = np.sort(value[start[p] : start[p + 1]])
        distinct = np.unique(level)
        coarse = np.diff(distinct).min() > coarsest[p] * (level[len(level) // 2] if amplitude[p] else 1.0)
        out[p] = coarse and 2 * len(distinct) <= len(level)
    return out
