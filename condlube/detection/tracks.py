"""Tracks: one point against one reference over the nights that the reference serves and the window behind them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from condlube.detection.begins import Begin
from condlube.detection.frozen import EXTENDED, Frozen
from condlube.detection.levels import COMPARED, night_levels
from condlube.detection.series import Cells
from condlube.manipulation.kernel import Bools, Floats, Ints, first_at_least
from condlube.policy.model import Policy

_NEVER = 10**9


@dataclass(frozen=True)
class Tracks:
    """Tracks and their nights; arrays of nights are ordered by track and day.

    Track t is point ``point[t]`` against frozen reference ``reference[t]``, serves nights ``serves[t]`` to ``until[t]``
    and owns rows ``start[t]`` to ``start[t + 1]`` of the night arrays; ``track`` is the track of each night.
    """

    point: Ints
    reference: Ints
    serves: Ints
    until: Ints
    start: Ints
    track: Ints
    day: Ints
    residual: Floats
    variance: Floats
    observed: Floats
    code: Ints
    masked: Bools

    @cached_property
    def usable(self) -> Ints:
        """Rows of the nights that are not masked."""
        return np.flatnonzero(~self.masked)

    @cached_property
    def before(self) -> Ints:
        """How many usable nights lie before each row, and in all: row r is the ``before[r]``-th of ``usable``."""
        return np.append(0, np.cumsum(~self.masked))

    def window(self, rows: pd.DataFrame, days: int) -> tuple[Ints, Ints]:
        """Of ``rows`` (track, row, day) the usable nights of so many days up to each, as places in ``usable``; none
        where there is no track."""
        track, row, night = (rows[c].to_numpy(dtype=np.int64) for c in ("track", "row", "day"))
        begin = self.before[self.start[np.maximum(track, 0)]]
        hi = np.maximum(self.before[row + 1], begin)
        return first_at_least(self.day[self.usable], begin, hi, night - days), hi


def tracks_of(
    cells: Cells, frozen: Frozen, begins: list[list[Begin]], margins: Floats, first: int, last: int, policy: Policy
) -> Tracks:
    """Tracks that serve any night from day ``first`` to day ``last``."""
    point = frozen.point
    count = len(point)
    until = np.full(count, _NEVER)
    again = np.flatnonzero(point[1:] == point[:-1])
    until[again] = frozen.last[again + 1] - 1
    lower = np.full(count, -_NEVER)
    extends = frozen.rows["began"].to_numpy(dtype=object) == EXTENDED
    for r in again[::-1][extends[again[::-1] + 1]]:  # what is extended goes on serving
        until[r] = until[r + 1]
    for p in np.unique(point):
        changes = [b for b in begins[p] if b.change]
        for r in np.flatnonzero(point == p) if changes else ():
            for change in changes:
                if frozen.first[r] < change.settled:
                    until[r] = min(until[r], change.day - 1)
                else:
                    lower[r] = max(lower[r], change.day + 1)
    serving = np.flatnonzero((frozen.last <= last) & (until >= first) & (frozen.last <= until))
    # a reference frozen after a bearing change does not wait for the invalid one before it
    of = point[serving]
    serves = np.maximum(frozen.last[serving], first)
    stop = np.minimum(until[serving], last)
    begin, end = cells.start[of], cells.start[of + 1]
    oldest = np.maximum(serves - policy.detection.window_days, lower[serving])
    lo = first_at_least(cells.day, begin, end, oldest)
    hi = first_at_least(cells.day, begin, end, stop + 1)
    nights = night_levels(
        serving.astype(np.int64), lo, np.maximum(lo, hi), cells, frozen.models, margins[of],
        policy.reference.max_model_spreads,
    )  # fmt: skip
    track, day = nights.track, nights.day
    start = np.searchsorted(track, np.arange(len(of) + 1)).astype(np.int64)
    masked = nights.code != COMPARED
    warm = (cells.points["quantity"] == "temperature").to_numpy()
    for t in np.flatnonzero(warm[of]).tolist():
        rows = slice(start[t], start[t + 1])
        for b in begins[of[t]]:
            if b.kind == "relubrication":
                masked[rows] |= (day[rows] >= b.day) & (day[rows] <= b.day + policy.detection.response_settle_days)
    return Tracks(
        of, serving.astype(np.int64), serves, stop, start, track, day, nights.residual, nights.variance,
        nights.observed, nights.code, masked,
    )  # fmt: skip
