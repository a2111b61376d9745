"""Lifeless: a signal that never moves is a sensor's own noise, not a level, where others show that it should.

A channel that was dead from the first day is learned like any other, and would read as healthy for ever. What tells
is the machine: it starts and stops, changes speed, or its other signals rise and fall, again and again. Where it runs
steadily, its like tell: far louder on bearings of the same type and speed, and less still. Where nothing else tells, a
faint signal that hardly moves at all for weeks says nothing: a dead sensor, or a machine that stands.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection.like import Like
from condlube.detection.lineage import families_of
from condlube.detection.series import Cells, of_quantity
from condlube.manipulation.expected import to_scale
from condlube.manipulation.kernel import (
    Bools,
    Floats,
    Ints,
    first_at_least,
    kernel,
    ranges,
    sliding_quantiles,
    starts_of,
)
from condlube.policy.model import Policy
from condlube.schema.words import LUBRICATION_SENSITIVE

AMPLITUDES = (*LUBRICATION_SENSITIVE, "velocity")
IMPULSIVE = ("kurtosis", "crest_factor")
_STILL_DB = 0.5  # nine tenths of the levels of a lifeless signal lie within so much
_NIGHTS = 7  # of which there are at least so many
_SWINGS = 3  # the machine has moved to and fro so often: a fault that comes and goes does not
_LIKE = 2  # so many like points, at least, whose levels move ...
_STILLER = 3.0  # ... so many times as far, tell that a channel far below them is dead
_FAINT_NIGHTS = 14  # of a faint signal that nothing else tells of, nine tenths of so many nights lie ...
_FAINT_DB = 0.15  # ... within so much ...
_FAINT_TIMES = 4.0  # ... and under so many times a sensor's own noise
_SPEED = 0.25  # a speed moves when it changes by so much, as natural logarithm
_DAYS = np.int64(10**7)  # more than any number of a day
DECIBEL = np.log(10.0) / 20.0  # one dB on the logarithmic scale of velocity


def lifeless(rows: pd.DataFrame, cells: Cells, policy: Policy) -> tuple[Bools, Bools]:
    """Which of ``rows`` (point, day) are a channel without life over the window that ends on their day, and which are
    too faint and still to tell one from a machine that stands: no signal says that it runs.

    Impulsiveness says nothing either where all amplitudes of its bearing are lifeless.
    """
    points = cells.points
    quantity = points["quantity"].to_numpy(dtype=object)
    scale = np.where(quantity == "velocity", DECIBEL, 1.0)
    point, day = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "day"))
    told = np.flatnonzero(np.isfinite(cells.level) & (cells.sound | ~cells.running))
    of, on, level = cells.point[told], cells.day[told], cells.level[told]
    start = np.searchsorted(of, np.arange(len(points) + 1))
    lo, hi = _window(on, start, point, day, policy.detection.window_days)
    jumps = np.abs(np.diff(level, prepend=level[:1])) > 2 * _STILL_DB * scale[of]
    jumped = np.append(0, np.cumsum(jumps))
    amplitude = np.isin(quantity, AMPLITUDES) & ~points["route"].to_numpy(dtype=bool)
    asked = amplitude[point] & (hi - lo >= _NIGHTS) & (jumped[hi] == jumped[np.minimum(lo + 1, hi)])
    asked = np.flatnonzero(asked & (_moves(level, scale[of], lo, hi) <= 4 * np.ceil(0.05 * (hi - lo - 1))))
    span = _range(level, lo[asked], hi[asked])
    begun = np.append(0, np.cumsum((np.diff(on, prepend=0) != 0) | (np.diff(of, prepend=-1) != 0)))
    nights = begun[hi[asked]] - begun[lo[asked] + 1] + 1
    taken = (span <= _STILL_DB * scale[point[asked]]) & (nights >= _NIGHTS)
    k, span, nights = asked[taken], span[taken], nights[taken]

    speed = cells.operating[told, 0]  # without a tag the register's, which never varies
    moves = swings(cells.running[told].astype(float), lo[k], hi[k], np.ones(len(k))) >= _SWINGS
    moves |= swings(np.log(np.maximum(speed, 1.0)), lo[k], hi[k], np.full(len(k), _SPEED)) >= _SWINGS
    which, mate = _mates(points, amplitude, point[k])
    heard, pair = np.unique(mate * _DAYS + day[k][which], return_inverse=True)
    first, last = _window(on, start, heard // _DAYS, heard % _DAYS, policy.detection.window_days)
    fall = of_quantity(policy.detection.fall, points)
    swung = swings(level, first, last, fall[heard // _DAYS]) >= _SWINGS
    moves |= np.bincount(which[swung[pair]], minlength=len(k)) > 0
    newest = np.where(hi > lo, np.append(level, np.nan)[hi - 1], np.nan)
    like = Like.of(newest, rows, families_of(points), of_quantity(policy.detection.silence, points)[point])
    for i in np.flatnonzero(~moves & like.far_below[k]).tolist():
        others = like.others(k[i])
        if len(others) >= _LIKE:
            moves[i] = np.median(_range(level, lo[others], hi[others])) >= _STILLER * span[i]

    rest = {"velocity": policy.running.rest_velocity_mm_s, "acceleration": policy.running.rest_acceleration_g}
    quiet = {q: to_scale(q, np.array([_FAINT_TIMES * value]))[0] for q, value in rest.items()}
    noise = np.array([quiet.get(q, -np.inf) for q in quantity])
    hardly = ~moves & (span <= _FAINT_DB * scale[point[k]]) & (nights >= _FAINT_NIGHTS)
    hardly &= newest[k] <= noise[point[k]]
    for i in np.flatnonzero(hardly).tolist():
        own = speed[lo[k[i]] : hi[k[i]]]
        moves[i] = np.nanmax(own, initial=0.0) > np.nanmin(own, initial=np.inf)
    found, faint = np.zeros((2, len(rows)), dtype=bool)
    found[k], faint[k] = moves, hardly
    return found | _follow(found, rows, cells), faint & ~found


def _moves(level: Floats, scale: Floats, lo: Ints, hi: Ints) -> Ints:
    """How often two neighbouring levels of each series lie too far apart for a lifeless one: a level outside its nine
    tenths does so at most twice, and one in twenty lies outside on either side."""
    apart = np.append(0, np.cumsum(np.abs(np.diff(level, prepend=level[:1])) > _STILL_DB * scale))
    moves: Ints = apart[hi] - apart[np.minimum(lo + 1, hi)]
    return moves


def _mates(points: pd.DataFrame, amplitude: Bools, point: Ints) -> tuple[Ints, Ints]:
    """The amplitudes on the machine of each ``point``, itself among them: position in ``point``, and point."""
    named = points["machine_id"].where(points["machine_id"].notna(), points["bearing_id"])
    machine = pd.factorize(named)[0]
    mates = np.flatnonzero(amplitude & (machine >= 0))
    mates = mates[np.argsort(machine[mates], kind="stable")]
    start = np.append(starts_of(machine[mates], int(machine.max(initial=0)) + 1), 0)
    own = machine[point]
    first, last = start[own], np.where(own >= 0, start[own + 1], 0)
    first = np.where(own >= 0, first, 0)
    return np.repeat(np.arange(len(point)), last - first), mates[ranges(first, last)]


def _range(level: Floats, lo: Ints, hi: Ints) -> Floats:
    """Between which nine tenths of the levels of many series lie, rows ``lo[k]`` to ``hi[k]``."""
    low, high = sliding_quantiles(level, lo, hi, np.lexsort((hi, lo)), 0.05, 0.95)
    return high - low


def _window(on: Ints, start: Ints, point: Ints, day: Ints, days: int) -> tuple[Ints, Ints]:
    """First and last but one row of the ``days`` up to each ``day`` of a point."""
    first, last = start[point], start[point + 1]
    return first_at_least(on, first, last, day - days), first_at_least(on, first, last, day + 1)


@kernel
def swings(value: Floats, lo: Ints, hi: Ints, least: Floats) -> Ints:
    """How often each series, rows ``lo[k]`` to ``hi[k]``, went from the lowest to the highest quarter of its range or
    back; 0 if that is under ``least[k]``."""
    made = np.zeros(len(lo), dtype=np.int64)
    for k in range(len(lo)):
        low, high = np.inf, -np.inf
        for row in range(lo[k], hi[k]):
            if np.isfinite(value[row]):
                low, high = min(low, value[row]), max(high, value[row])
        if not high - low >= least[k]:
            continue
        side = 0
        for row in range(lo[k], hi[k]):
            if np.isfinite(value[row]):
                place = (value[row] - low) / (high - low)
                now = -1 if place <= 0.25 else 1 if place >= 0.75 else 0
                if now != 0:
                    made[k] += side == -now
                    side = now
    return made


def _follow(found: Bools, rows: pd.DataFrame, cells: Cells) -> Bools:
    """Impulsiveness of bearings whose amplitudes are all lifeless on that day."""
    if not found.any():
        return found
    points = cells.points.iloc[rows["point"].to_numpy()]
    quantity = points["quantity"].to_numpy(dtype=object)
    lively = np.isin(quantity, AMPLITUDES) & ~found
    of = pd.DataFrame({"dead": found, "lively": lively}).groupby(
        [points["bearing_id"].to_numpy(), rows["day"].to_numpy()], dropna=False
    )
    told = of.transform("sum")
    follows: Bools = np.isin(quantity, IMPULSIVE) & (told["dead"] > 0).to_numpy() & (told["lively"] == 0).to_numpy()
    return follows
