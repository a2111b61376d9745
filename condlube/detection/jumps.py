"""Jumps: a level that leaps up and down from night to night, further than a machine does, is no level.

A cable or plug that opens and closes, or an input that floats, gives any level. On one night it is a rise like any
other; that it came and went again and again within days tells it from damage, which stays, and from health.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection.lifeless import AMPLITUDES, DECIBEL
from condlube.detection.tracks import Tracks
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.model import Policy

_NIGHTS = 10  # steps between the last sound nights in which ...
_JUMPS = 3  # ... so many jumps, of both sides, are no level
_GAP_DAYS = 3  # a step over a longer gap may be a restart
_WITH = 0.5  # another signal of the machine that jumps so much of the limit as well speaks for the machine


def jumping(rows: pd.DataFrame, points: pd.DataFrame, tracks: Tracks, policy: Policy) -> Bools:
    """Which of the assessed ``rows`` (point, day, status, track, row, reference_spread) jump.

    At least three of the last ten steps between sound nights, up as well as down, went over the policy's
    ``erratic_db`` and as many spreads as make a rise, and no more than half of them were made on the same nights, to
    the same side, by another signal of the machine.
    """
    point, track, row = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "track", "row"))
    quantity = points["quantity"].to_numpy(dtype=object)
    amplitude = np.isin(quantity, AMPLITUDES)
    told = (rows["status"] == "assessed").to_numpy() & amplitude[point]
    usable = tracks.usable
    day, of = tracks.day[usable], tracks.track[usable]
    step = np.diff(tracks.residual[usable], prepend=0.0)
    near = (np.diff(of, prepend=-1) == 0) & (np.diff(day, prepend=0) <= _GAP_DAYS)
    limit = _limits(rows, quantity[point], len(tracks.point), policy)[of]
    leap = np.where(near & (np.abs(step) >= limit), np.sign(step), 0.0)
    hi = tracks.before[row + 1]
    lo = np.maximum(tracks.before[tracks.start[np.maximum(track, 0)]], hi - _NIGHTS)
    up, down = (np.append(0, np.cumsum(leap == side)) for side in (1.0, -1.0))
    ups, downs = up[hi] - up[lo], down[hi] - down[lo]
    found: Bools = told & ~points["route"].to_numpy(dtype=bool)[point]
    found &= (hi > lo) & (ups > 0) & (downs > 0) & (ups + downs >= _JUMPS)
    if not found.any():
        return found
    machine = pd.factorize(points["machine_id"])[0][point]
    group = pd.Series(machine * np.int64(10**7) + rows["day"].to_numpy(dtype=np.int64))
    mates = group[(machine >= 0) & told]
    mates = mates[mates.isin(group[found])]
    beside = mates.groupby(mates).groups
    for k in np.flatnonzero(found).tolist():
        others = np.array([j for j in beside.get(group[k], ()) if row[j] != row[k]], dtype=np.int64)
        own = np.arange(lo[k], hi[k])[leap[lo[k] : hi[k]] != 0]
        shared = np.zeros(len(own), dtype=bool)
        for j in others.tolist():
            theirs = np.arange(lo[j], hi[j])
            theirs = theirs[near[theirs] & (np.abs(step[theirs]) >= _WITH * limit[theirs])]
            at = np.minimum(np.searchsorted(day[theirs], day[own]), max(len(theirs) - 1, 0))
            if len(theirs):
                shared |= (day[theirs][at] == day[own]) & (np.sign(step[theirs][at]) == leap[own])
        found[k] = shared.sum() <= 0.5 * len(own)
    return found


def _limits(rows: pd.DataFrame, quantity: Ints, tracks: int, policy: Policy) -> Floats:
    """Size of a jump of each track: of those without a row nothing is one."""
    made = np.full(tracks, np.inf)
    track = rows["track"].to_numpy(dtype=np.int64)
    scale = np.where(quantity == "velocity", DECIBEL, 1.0)
    spread = rows["reference_spread"].to_numpy(dtype=float)
    size = np.fmax(policy.quality.erratic_db * scale, policy.detection.raised_spreads * spread)
    made[track[track >= 0]] = size[track >= 0]
    return made
