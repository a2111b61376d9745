"""Beside: a bearing on which a failing neighbour is heard, and no fault of its own.

Vibration travels along shaft and housing. On a machine with one failing bearing the others rise as well, later and
less, and each would be taken for damaged. What tells is the neighbour: its rise is far larger, it was so on all nights
on which this one stood up, and this one kept its share of it. A fault of its own makes that share grow.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.detection.lifeless import AMPLITUDES, IMPULSIVE
from condlube.detection.tracks import Tracks
from condlube.manipulation.expected import from_scale
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.detection import Detection

_SHARE = 0.35  # what is heard is at most so much of what rose on the neighbour, as amplitude over the expected one
_MOST = 0.75  # ... on so many of the nights on which it stood about as high
_COMPARED = 0.25  # the share is compared with nights on which the neighbour had risen at least so much of tonight
_OWN = 1.25  # a share that has grown so many times, beyond noise, is a rise of its own
_NIGHTS = 3  # nights whose median tells a share


class _Rises(NamedTuple):
    """Comparable nights of each row: rows ``lo`` to ``hi`` of the arrays of nights.

    ``over`` is the amplitude over the expected one, ``power`` the square of the level less that of the expected one.
    """

    lo: Ints
    hi: Ints
    day: Ints
    residual: Floats
    expected: Floats
    over: Floats
    power: Floats

    def on(self, j: int, days: Ints) -> Floats:
        """By how much row ``j`` stood over its expected amplitude on each of the days; NaN where it was not heard."""
        own = self.day[self.lo[j] : self.hi[j]]
        at = np.minimum(np.searchsorted(own, days), len(own) - 1)
        return np.where(own[at] == days, self.over[self.lo[j] : self.hi[j]][at], np.nan)


def heard_beside(rows: pd.DataFrame, changed: Bools, points: pd.DataFrame, tracks: Tracks, policy: Detection) -> Bools:
    """Which of ``rows`` stand where a neighbour on their machine put them.

    ``rows`` has point, day, status, track, row, residual, sd, reference_spread; ``changed`` are those that a change of
    the machine's operation explains: they may be heard, but nobody is heard on account of them.

    The neighbours are points of the same quantity on other bearings of the machine that stand further off tonight and
    of whose rise, as amplitude, it has no more than ``_SHARE``; so it was on three quarters of the nights on which the
    row stood at least half as high as tonight. Its share of what they rose, however the two add up (amplitudes or
    powers), is no larger than on earlier nights, beyond noise.
    """
    heard = np.zeros(len(rows), dtype=bool)
    now, spread, sd = (rows[c].to_numpy(dtype=float) for c in ("residual", "reference_spread", "sd"))
    point, day = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "day"))
    quantity = points["quantity"].to_numpy(dtype=object)
    machine, bearing, kind = (pd.factorize(points[c])[0] for c in ("machine_id", "bearing_id", "quantity"))
    speaks = np.isin(quantity, (*AMPLITUDES, *IMPULSIVE)) & (machine >= 0)
    off = ((rows["status"] == "assessed").to_numpy() | changed) & speaks[point] & (now >= policy.raised_spreads * sd)
    by = np.flatnonzero(off)
    by = by[np.lexsort((day[by], kind[point[by]], machine[point[by]]))]
    apart = (np.diff(own[point[by]]) != 0 for own in (machine, kind))
    begins = np.flatnonzero(np.logical_or.reduce([np.diff(day[by]) != 0, *apart])) + 1
    groups = [of for of in np.split(by, begins) if len(np.unique(bearing[point[of]])) > 1]
    if not groups:
        return heard
    quantity, bearing = quantity[point], bearing[point]
    rises = _rises(rows, quantity, tracks, policy.window_days)
    for of in groups:
        last = rises.hi[of] - 1
        over, expected = rises.over[last], rises.expected[last]
        for at, k in enumerate(of.tolist()):
            scale = np.maximum(1.0, expected[at] / expected)
            louder = (bearing[of] != bearing[k]) & ~changed[of] & (over[at] <= _SHARE * scale * over)
            louder &= now[of] > now[k]
            if louder.any():
                raised = policy.raised_spreads
                heard[k] = _follows(rises, k, of[louder], scale[louder], float(spread[k]), raised, str(quantity[k]))
    return heard


def _follows(
    rises: _Rises, k: int, louder: Ints, scale: Floats, spread: float, raised: float, quantity: str
) -> bool:  # fmt: skip
    """Whether row ``k`` kept its share of what the ``louder`` rows rose, ``scale`` times, from where its own rise
    began. A share is known no better than by a ``spread``; tonight's may be off by ``raised`` of them."""
    own = slice(rises.lo[k], rises.hi[k])
    over, power, residual = rises.over[own], rises.power[own], rises.residual[own]
    theirs = np.stack([rises.on(j, rises.day[own]) for j in louder.tolist()])
    known = np.asarray(np.isfinite(theirs).any(axis=0))
    if not known[-1]:
        return False
    theirs = np.maximum(np.nan_to_num(theirs), 0.0) * scale[:, None]
    loudest, summed, squared = theirs.max(axis=0), theirs.sum(axis=0), np.sqrt((theirs**2).sum(axis=0))
    up = known & (residual >= raised * spread) & (over >= 0.5 * over[-1])
    if over[-1] > _SHARE * loudest[-1] or ((over <= _SHARE * loudest) & up).sum() < _MOST * up.sum():
        return False
    before = known & (loudest >= _COMPARED * loudest[-1])
    before[-1] = False
    if not before.any():
        return True
    expected = rises.expected[own][-1]
    usual, most = expected * (_amplitude(quantity, np.array([spread, raised * spread])) - 1.0)
    by_amplitude = _least((np.maximum(over, 0.0) + usual)[before] / np.maximum(summed, 1e-12)[before])
    at_most = np.maximum(power, 0.0) + (expected + usual) ** 2 - expected**2
    by_power = _least(np.sqrt(at_most)[before] / np.maximum(squared, 1e-12)[before])
    grown = over[-1] > _OWN * by_amplitude * summed[-1] + most
    grown &= power[-1] > (_OWN * by_power * squared[-1]) ** 2 + (expected + most) ** 2 - expected**2
    return not bool(grown)


def _least(share: Floats) -> float:
    """Lowest median of a few nights in a row."""
    if len(share) <= _NIGHTS:
        return float(np.median(share))
    return float(np.median(np.lib.stride_tricks.sliding_window_view(share, _NIGHTS), axis=1).min())


def _amplitude(quantity: str, level: Floats) -> Floats:
    """Levels on the scale of comparison as amplitudes; of ultrasound in times of whatever its 0 dB stands for."""
    return from_scale("acceleration" if quantity == "ultrasound" else quantity, level)


def _rises(rows: pd.DataFrame, quantity: np.ndarray, tracks: Tracks, window_days: int) -> _Rises:
    usable, track = tracks.usable, rows["track"].to_numpy(dtype=np.int64)
    day, residual, observed = tracks.day[usable], tracks.residual[usable], tracks.observed[usable]
    lo, hi = tracks.window(rows, window_days)
    of_track = np.full(len(tracks.point), "", dtype=object)
    of_track[track[track >= 0]] = quantity[track >= 0]
    of_night = of_track[tracks.track[usable]]
    level, expected = np.full((2, len(usable)), np.nan)
    for name in (*AMPLITUDES, *IMPULSIVE):
        of = np.flatnonzero(of_night == name)
        level[of], expected[of] = _amplitude(name, observed[of]), _amplitude(name, (observed - residual)[of])
    return _Rises(lo, hi, day, residual, expected, level - expected, level**2 - expected**2)
