"""Lifeless: a signal that never moves is a sensor's own noise, not a level, where others show that it should.

A channel that was dead from the first day is learned like any other, and would read as healthy for ever. What tells
is the machine: it starts and stops, changes speed, or its other signals rise and fall, again and again. Where it runs
steadily, its like tell: far louder on bearings of the same type and speed, and less still. Where nothing else tells, a
faint signal that hardly moves at all for weeks says nothing: a dead sensor, or a machine that stands.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from condlube.detection.lineage import families_of
from condlube.detection.series import Cells
from condlube.manipulation.expected import to_scale
from condlube.manipulation.kernel import Bools, Floats, Ints, first_at_least, sliding_quantiles
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
    lo = first_at_least(on, start[point], start[point + 1], day - policy.detection.window_days)
    hi = first_at_least(on, start[point], start[point + 1], day + 1)
    jumps = np.abs(np.diff(level, prepend=level[:1])) > 2 * _STILL_DB * scale[of]
    jumped = np.append(0, np.cumsum(jumps))
    amplitude = np.isin(quantity, AMPLITUDES) & ~points["route"].to_numpy(dtype=bool)
    asked = amplitude[point] & (hi - lo >= _NIGHTS) & (jumped[hi] == jumped[np.minimum(lo + 1, hi)])
    found, faint = np.zeros((2, len(rows)), dtype=bool)
    rest = {"velocity": policy.running.rest_velocity_mm_s, "acceleration": policy.running.rest_acceleration_g}
    quiet = {q: to_scale(q, np.array([_FAINT_TIMES * value]))[0] for q, value in rest.items()}
    machine = pd.factorize(points["machine_id"].where(points["machine_id"].notna(), points["bearing_id"]))[0]
    asked = np.flatnonzero(asked & (_moves(level, scale[of], lo, hi) <= 4 * np.ceil(0.05 * (hi - lo - 1))))
    moved = _range(level, lo[asked], hi[asked])
    still = moved <= _STILL_DB * scale[point[asked]]
    below = _far_below(np.where(hi > lo, np.append(level, np.nan)[hi - 1], np.nan), rows, cells, policy)
    for k, own_range in zip(asked[still].tolist(), moved[still].tolist(), strict=True):
        own = slice(lo[k], hi[k])
        if len(np.unique(on[own])) < _NIGHTS:
            continue
        moves = swings(cells.running[told[own]].astype(float), 1.0) >= _SWINGS
        moves |= swings(np.log(np.maximum(cells.operating[told[own], 0], 1.0)), _SPEED) >= _SWINGS
        mates = (machine == machine[point[k]]) & amplitude if machine[point[k]] >= 0 else []
        for p in np.flatnonzero(mates):
            rows_of = slice(*first_at_least(on, start[[p, p]], start[[p + 1, p + 1]], _window(day[k], policy)))
            moves |= swings(level[rows_of], policy.detection.fall.of(quantity[p])) >= _SWINGS
        if not moves and len(like := below(k)) >= _LIKE:
            moves = np.median(_range(level, lo[like], hi[like])) >= _STILLER * own_range
        found[k] = moves
        nights = np.unique(on[own])
        if not moves and own_range <= _FAINT_DB * scale[point[k]] and len(nights) >= _FAINT_NIGHTS:
            faint[k] = level[hi[k] - 1] <= quiet.get(quantity[point[k]], -np.inf)
            speed = cells.operating[told[own], 0]  # without a tag the register's, which never varies
            found[k] = faint[k] and bool(np.nanmax(speed, initial=0.0) > np.nanmin(speed, initial=np.inf))
    return found | _follow(found, rows, cells), faint & ~found


def _moves(level: Floats, scale: Floats, lo: Ints, hi: Ints) -> Ints:
    """How often two neighbouring levels of each series lie too far apart for a lifeless one: a level outside its nine
    tenths does so at most twice, and one in twenty lies outside on either side."""
    apart = np.append(0, np.cumsum(np.abs(np.diff(level, prepend=level[:1])) > _STILL_DB * scale))
    moves: Ints = apart[hi] - apart[np.minimum(lo + 1, hi)]
    return moves


def _far_below(now: Floats, rows: pd.DataFrame, cells: Cells, policy: Policy) -> Callable[[int], Ints]:
    """For a row its like ones of the day, where it stands by the policy's ``silence`` under their middle; else none.

    ``now`` is the newest level of each row.
    """
    family = pd.factorize(np.array(families_of(cells.points), dtype=object))
    named = np.flatnonzero(np.isfinite(now) & (family[1][family[0]] != "")[rows["point"].to_numpy()])
    key = rows["day"].to_numpy(dtype=np.int64)[named] * len(family[1]) + family[0][rows["point"].to_numpy()[named]]
    order = np.argsort(key, kind="stable")
    named, key = named[order], key[order]
    where = np.full(len(rows), -1)  # of those that have no family
    where[named] = key
    quantity = cells.points["quantity"].to_list()

    def below(k: int) -> Ints:
        like: Ints = named[slice(*np.searchsorted(key, [where[k], where[k] + 1]))]
        like = like[like != k]
        quiet_by = policy.detection.silence.of(quantity[rows["point"].iat[k]])
        return like if len(like) and now[k] <= np.median(now[like]) - quiet_by else like[:0]

    return below


def _range(level: Floats, lo: Ints, hi: Ints) -> Floats:
    """Between which nine tenths of the levels of many series lie, rows ``lo[k]`` to ``hi[k]``."""
    low, high = sliding_quantiles(level, lo, hi, np.lexsort((hi, lo)), 0.05, 0.95)
    return high - low


def _window(day: int, policy: Policy) -> Ints:
    return np.array([day - policy.detection.window_days, day + 1])


def swings(value: Floats, least: float) -> int:
    """How often a series went from the lowest to the highest quarter of its range or back; 0 if that is under
    ``least``."""
    value = value[np.isfinite(value)]
    if not len(value) or value.max() - value.min() < least:
        return 0
    place = (value - value.min()) / (value.max() - value.min())
    side = (place > 0.5)[(place <= 0.25) | (place >= 0.75)]
    return int(np.count_nonzero(side[1:] != side[:-1]))


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
