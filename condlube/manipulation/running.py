"""Running state: where a source parts standstill from running, and what a signal's own levels say."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import (
    READINGS,
    RULED,
    RUN_HIGH,
    RUN_LOW,
    RUN_MID,
    RUN_N,
    STOP_HIGH,
    STOP_LOW,
    STOP_MID,
    STOP_N,
)  # fmt: skip
from condlube.manipulation.kernel import Bools, Floats, Ints, quantile, ranges
from condlube.manipulation.levels import FLOOR, decibel, empty_bands
from condlube.manipulation.reasons import SOUND
from condlube.manipulation.rules import APART_DB, BETWEEN_SHARE, LEVEL_SHARE, SIDE_SHARE, SWINGS, rest_of
from condlube.schema.words import QUANTITIES

STOPPED, RUNNING, UNKNOWN = 0.0, 1.0, 2.0
STILL_DB = 0.3  # a signal that keeps within so much, readings and all, may be a sensor's own noise


def least_running(ordered: Floats, start: Ints, memory: Floats, rules: Floats, floor: Floats) -> Floats:
    """Power or current above which each machine runs: a share of its own upper level, and never below a floor.

    The upper level is the 90 % quantile of the day's values (sorted, ``start[s]:start[s + 1]``) or of any running day
    in ``memory`` (sources, days, REMEMBERED), whichever is highest, so a starting current does not raise it.
    """
    upper = np.fmax(quantile(ordered, start, 0.9), np.fmax.reduce(memory[:, :, RUN_HIGH], axis=1, initial=0.0))
    return np.asarray(np.maximum(rules[LEVEL_SHARE] * upper, floor))


def votes(level: Floats, start: Ints, memory: Floats, amplitude: Bools, rules: Floats) -> tuple[Floats, Floats, Bools]:
    """Levels (dB) under which each signal says stopped, and from which it says running; NaN: it never says so. And
    which signals have never moved by ``STILL_DB``.

    ``level`` are the day's levels in time order, those of signal s ``start[s]:start[s + 1]``; ``memory`` (signals,
    days, REMEMBERED) holds the days before.

    With two clear levels (``empty_bands``) both are the middle of the band, once the signal has changed sides
    ``swings`` times: a fault that came and was repaired is no standstill. One change fewer will do where the low level
    was never taken as running. A signal that stood still on its newest remembered day goes on standing still until it
    rises. A signal without two levels that keeps within a third of a band of its usual level says running.
    """
    signals = len(start) - 1
    known = (memory[:, :, RUN_N] > 0) | (memory[:, :, STOP_N] > 0)
    run, stop = memory[:, :, [RUN_LOW, RUN_MID, RUN_HIGH]], memory[:, :, [STOP_LOW, STOP_MID, STOP_HIGH]]
    run, stop = (decibel(part, amplitude[:, None, None]) for part in (run, stop))
    low, high = np.fmin(run[:, :, 0], stop[:, :, 0]), np.fmax(run[:, :, 2], stop[:, :, 2])
    some = np.flatnonzero(np.diff(start))
    span = np.full((2, signals), np.nan)
    span[0, some] = np.minimum.reduceat(level, start[some]) if len(some) else 0.0
    span[1, some] = np.maximum.reduceat(level, start[some]) if len(some) else 0.0
    span[0] = np.fmin(span[0], np.fmin.reduce(low, axis=1, initial=np.nan))
    span[1] = np.fmax(span[1], np.fmax.reduce(high, axis=1, initial=np.nan))
    wide = some[(span[1] - span[0])[some] >= rules[APART_DB]]
    middle = np.full(signals, np.nan)
    middle[wide] = _band_middles(level, start, memory, run, stop, wide, rules)
    for s in np.flatnonzero(~np.isnan(middle)):
        if not _changes_sides(middle[s], level[start[s] : start[s + 1]], run[s, known[s]], stop[s, known[s]], rules):
            middle[s] = np.nan
    newest = memory.shape[1] - 1 - np.argmax(memory[:, ::-1, READINGS] > 0, axis=1)
    last = memory[np.arange(signals), newest]
    stood = (last[:, READINGS] > 0) & (last[:, RUN_N] == 0) & (last[:, STOP_N] > 0) & (last[:, RULED] == SOUND)
    stood &= np.isnan(middle)
    middle[stood] = stop[np.arange(signals), newest, 2][stood] + rules[APART_DB] / 2
    usual = np.fmax.reduce(run[:, :, 1], axis=1, initial=np.nan) - rules[APART_DB] / 3
    still = np.isnan(middle) & (span[1] - span[0] < STILL_DB)
    return middle, np.where(np.isnan(middle), usual, middle), still


def _band_middles(
    level: Floats, start: Ints, memory: Floats, run: Floats, stop: Floats, wide: Ints, rules: Floats
) -> Floats:
    """Middle of the band between two levels of each signal of ``wide``, if it has one: the day's readings count one
    each, and a remembered day's low, middle and high level (``run`` and ``stop``, (signals, days, 3)) for a quarter, a
    half and a quarter of its readings."""
    size = np.diff(start)[wide]
    share = np.array([0.25, 0.5, 0.25])
    weight = memory[wide][:, :, [RUN_N, STOP_N], None] * share
    told = np.stack((run[wide], stop[wide]), axis=2)
    of = np.broadcast_to(np.arange(len(wide))[:, None, None, None], weight.shape)
    kept = weight > 0
    return empty_bands(
        np.concatenate([level[ranges(start[wide], start[wide + 1])], told[kept]]),
        np.concatenate([np.ones(size.sum()), weight[kept]]),
        np.concatenate([np.repeat(np.arange(len(wide)), size), of[kept]]),
        len(wide), rules[APART_DB], rules[BETWEEN_SHARE], rules[SIDE_SHARE],
    )  # fmt: skip


def _changes_sides(middle: float, level: Floats, run: Floats, stop: Floats, rules: Floats) -> bool:
    """Whether one signal has changed often enough between the two sides of a band, over the remembered days (days, 3)
    and the day's levels."""
    low, high = np.fmin(run[:, 0], stop[:, 0]), np.fmax(run[:, 2], stop[:, 2])
    both = (low < middle) & (high >= middle)
    side = np.concatenate([np.where(both, 2, high >= middle), level >= middle]).astype(np.int64)
    crossed = (side[1:] != side[:-1]) & (side[1:] != 2) & (side[:-1] != 2)
    established = bool((run[:, 1] < middle).any())
    return bool(both.sum() + crossed.sum() >= rules[SWINGS] - (not established))


def at_rest(level: Floats, quantity: Ints, place: Ints, rules: Floats) -> Bools:
    """Which levels (dB) are no more than a sensor's own noise, where at their ``place`` no velocity or acceleration is
    more. Exact zeros are none: a sensor at rest is never so quiet."""
    rest = decibel(rest_of(rules), np.ones(len(QUANTITIES), np.bool_))[quantity]
    told = np.isfinite(rest_of(rules))[quantity]
    alive = np.zeros(int(place.max(initial=-1)) + 1, np.bool_)
    alive[place[told & (level > rest)]] = True
    quiet: Bools = told & (level <= rest) & (level > 20.0 * np.log10(FLOOR)) & ~alive[place]
    return quiet


def surely_running(memory: Floats, amplitude: Bools, rules: Floats) -> Floats:
    """Level (dB) from which each signal contradicts a tag that says standstill; NaN: it cannot tell.

    A third of a band under its usual level, and never near a level that it had at standstill.
    """
    run, stop = decibel(memory[:, :, RUN_MID], amplitude[:, None]), decibel(memory[:, :, STOP_HIGH], amplitude[:, None])
    third = rules[APART_DB] / 3
    level = np.fmax.reduce(run, axis=1, initial=np.nan) - third
    still = np.fmax.reduce(stop, axis=1, initial=-np.inf)
    return np.where(level > still + third, level, np.nan)


def knows_standstill(memory: Floats) -> Bools:
    """Whether each signal remembers a standstill level other than zero: then an exact zero is no standstill."""
    still = (memory[:, :, STOP_N] > 0) & (memory[:, :, RULED] == SOUND)
    return np.asarray((still & (memory[:, :, STOP_MID] != 0.0)).any(axis=1))
