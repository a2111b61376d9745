"""Regime: a machine whose bearings all step up together on one night runs at another speed or load.

Without an operating signal that says so the level after such a step cannot be judged: not healthy, not faulty. What
stands out from the common step, or goes on from it, is judged as it is; so is a bearing that steps alone. On a machine
with signals on one bearing only its quantities stand for the others: speed and load bring up velocity and acceleration
alike, a bearing's fault hardly the one and mostly the other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.detection.lasting import Lasting
from condlube.detection.lifeless import AMPLITUDES, DECIBEL, IMPULSIVE
from condlube.detection.series import of_quantity
from condlube.detection.step import shifts
from condlube.detection.tracks import Tracks
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.detection import Detection

_AT_ONCE = 0.5  # so much of a step lies between two nights
_THEN = 3  # nights after a step that tell where it led
_ALIKE = 0.4  # the least of several steps of one bearing, in dB, is at least so much of the largest
_MOST = 0.75  # so much of the machine moves, on other bearings, and of nobody else's on the same collector


class Series(NamedTuple):
    """Comparable nights of each row: rows ``lo`` to ``hi`` of ``day`` and ``residual``; night spread of each row."""

    lo: Ints
    hi: Ints
    day: Ints
    residual: Floats
    spread: Floats

    def shift(self, k: Ints, at: int) -> Floats:
        """By how many spreads rows ``k`` stepped on day ``at``."""
        return shifts(self.lo[k], self.hi[k], self.day, self.residual, np.full(len(k), at)) / self.spread[k]

    def risen(self, k: int, at: int, now: float) -> float:
        """How far row ``k`` rose since the first nights from day ``at`` on; of one night alone half of it."""
        first = np.searchsorted(self.day[self.lo[k] : self.hi[k]], at) + self.lo[k]
        level = float(np.median(self.residual[first : min(first + _THEN, self.hi[k])]))
        before = self.residual[max(self.hi[k] - 2, first)]
        return float(max(min(now, before) - level, 0.5 * (now - level)))


def regime_changed(
    rows: pd.DataFrame, untold: Bools, points: pd.DataFrame, tracks: Tracks, lasting: Lasting, policy: Detection
) -> Bools:
    """Which of ``rows`` stand where an operating change of their machine put them.

    ``rows`` has point, day, status, track, row, residual, sd, reference_spread; ``untold``: neither speed nor load of
    the row was ever on record.

    The row's level came by one step, its own or that of another signal of its bearing, and has not gone on since by
    more than its noise. On that night at least three quarters of the amplitudes on the machine's other bearings
    stepped up, and so did those of its quantity; it stands no further off than three standard deviations, or
    once more, beyond their step. Where there is no other bearing, and ``untold``, its own amplitudes stepped
    ``alike``. If as many of its collector's points on other machines stepped too, it is no change of this machine.
    """
    changed = np.zeros(len(rows), dtype=bool)
    now, spread, sd = (rows[c].to_numpy(dtype=float) for c in ("residual", "reference_spread", "sd"))
    compared = (rows["status"] == "assessed").to_numpy()
    off = compared & (now >= policy.raised_spreads * sd)
    if not off.any():
        return changed
    night, point = (rows[c].to_numpy(dtype=np.int64) for c in ("day", "point"))
    quantity = points["quantity"].to_numpy(dtype=object)[point]
    amplitude = np.isin(points["quantity"], AMPLITUDES)[point]
    machine, bearing, collector = (_codes(points[c])[point] for c in ("machine_id", "bearing_id", "collector"))
    decibel = np.where(quantity == "velocity", DECIBEL, 1.0)
    large = of_quantity(policy.large, points)[rows["point"]]
    series = _series(rows, tracks, policy.window_days)
    where = night * (int(collector.max()) + 2) + collector
    named = np.flatnonzero(compared & (collector >= 0))
    named = named[np.argsort(where[named], kind="stable")]
    places = where[named]

    def explains(k: int, at: int, of: Ints) -> bool:
        """Whether the machine's step on day ``at`` put row ``k`` where it stands."""
        allowed = policy.raised_spreads * sd[k]
        if series.risen(k, at, now[k]) > allowed + spread[k]:
            return False
        mates = of[bearing[of] != bearing[k]]
        if not len(mates):
            return alike(k, at, of)
        like, shift = quantity[mates] == quantity[k], series.shift(mates, at)
        moved = (shift >= policy.share_spreads)[amplitude[mates]]
        if not _mostly(moved, 1) or not _mostly((shift > 1.0)[like], 1):
            return False
        shared = named[slice(*np.searchsorted(places, [where[k], where[k] + 1]))] if collector[k] >= 0 else of[:0]
        shared = shared[(machine[shared] != machine[k]) & (quantity[shared] == quantity[k])]
        if _mostly(series.shift(shared, at) >= policy.share_spreads, 2):
            return False
        common = float(np.median((shift * spread[mates])[like]))
        return bool(now[k] - common <= max(allowed, common))

    def alike(k: int, at: int, of: Ints) -> bool:
        """Whether the only bearing of a machine stepped on day ``at`` in all its amplitudes alike, and none of them
        far, and in nothing that speaks of impacts."""
        step = series.shift(of, at)
        if not untold[k] or now[k] >= large[k] or (step > 1.0)[np.isin(quantity[of], IMPULSIVE)].any():
            return False
        moved = step[amplitude[of]]
        size = (step * spread[of] / decibel[of])[amplitude[of]]
        several = len(np.unique(quantity[of][amplitude[of]])) > 1
        return bool(several and (moved >= policy.share_spreads).all() and size.min() >= _ALIKE * size.max())

    for of in _together(compared & (machine >= 0), night, machine, off):
        steps = {k: _step(series, k, now[k]) for k in of[off[of]].tolist()}
        found = {k: at for k, at in steps.items() if at >= 0 and explains(k, at, of)}
        for k in steps:
            beside = {at for j, at in found.items() if bearing[j] == bearing[k]}
            changed[k] = k in found or any(
                series.shift(np.array([k]), at)[0] > 1.0 and explains(k, at, of) for at in beside
            )
    noted = lasting.common(rows["point"].to_numpy(dtype=np.int64), night)
    stands = off & ~changed & (noted > 0)
    changed[stands] = (np.abs(now - noted) <= np.fmax(policy.raised_spreads * sd, 0.5 * noted))[stands]
    return changed


def _codes(names: pd.Series) -> Ints:
    codes, found = pd.factorize(names)
    return np.where(np.append(pd.isna(found) | (found == ""), True)[codes], -1, codes)


def _series(rows: pd.DataFrame, tracks: Tracks, window_days: int) -> Series:
    day, residual = tracks.day[tracks.usable], tracks.residual[tracks.usable]
    return Series(*tracks.window(rows, window_days), day, residual, rows["reference_spread"].to_numpy(dtype=float))


def _together(wanted: Bools, night: Ints, machine: Ints, off: Bools) -> list[Ints]:
    """Rows of one machine and night, where one of them is off."""
    index = np.flatnonzero(wanted)
    index = index[np.lexsort((machine[index], night[index]))]
    begins = (np.diff(night[index], prepend=-1) != 0) | (np.diff(machine[index], prepend=-1) != 0)
    start = np.flatnonzero(begins)
    some = np.logical_or.reduceat(off[index], start) if len(index) else begins
    stop = np.append(start[1:], len(index))
    return [index[a:b] for a, b in zip(start[some].tolist(), stop[some].tolist(), strict=True)]


def _step(series: Series, k: int, now: float) -> int:
    """Day on which a level came from under half of where it stands, for good and by one step; -1: it did not."""
    day, level = (values[series.lo[k] : series.hi[k]] for values in (series.day, series.residual))
    low = np.flatnonzero(level / now < 0.5)
    if not len(low) or low[-1] + 1 >= len(level):
        return -1
    first = low[-1] + 1
    own = series.shift(np.array([k]), int(day[first]))[0] * series.spread[k]
    return int(day[first]) if own * now > 0 and (level[first] - level[first - 1]) / own >= _AT_ONCE else -1


def _mostly(moved: Bools, fewest: int) -> bool:
    return len(moved) >= fewest and float(moved.mean()) >= _MOST
