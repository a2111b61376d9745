"""Common mode: the share of a collector's points that moved together with a point."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from condlube.detection.step import shifts, steps
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.detection import Detection

_LIKE = 3.0  # sizes within this factor are alike, for points of one quantity


def shares(targets: pd.DataFrame, lo: Ints, hi: Ints, day: Ints, residual: Floats, policy: Detection) -> Floats:
    """Share for each target: one point on one night, with its comparable nights in rows ``lo`` to ``hi``.

    ``targets`` has columns night, collector, bearing, quantity, spread. A target far from its expected level that came
    there by a step (at least half of the shift from one night to the next) is compared with the other points of its
    collector on other bearings: the share of those whose level shifted on that night in the same direction, by
    ``share_spreads`` of their spreads and by a like size. The share among the points of its
    own quantity holds where it is larger: one channel of a collector may move alone. 0 where it did not move or there
    are fewer than ``share_min_points`` points.
    """
    made = np.zeros(len(targets))
    spread = targets["spread"].to_numpy()
    bearing, quantity = (pd.factorize(targets[name])[0] for name in ("bearing", "quantity"))
    now = np.zeros(len(targets))
    known = hi > lo
    now[known] = residual[hi[known] - 1]
    far = np.abs(now) >= policy.share_spreads * spread
    for rows in _groups(targets, far, policy.share_min_points):
        moved = rows[far[rows]]
        step = steps(lo[moved], hi[moved], residual)
        moved, step = moved[step >= 0], step[step >= 0]
        for at in np.unique(day[step]):
            shift = shifts(lo[rows], hi[rows], day, residual, np.full(len(rows), at))
            by_row = dict(zip(rows.tolist(), shift.tolist(), strict=True))
            for k, i in zip(moved[day[step] == at], step[day[step] == at], strict=True):
                own = by_row[int(k)]
                if not abs(own) >= policy.share_spreads * spread[k]:
                    continue
                if (residual[i] - residual[i - 1]) / own < 0.5:
                    continue
                other = ((bearing[rows] != bearing[k]) | (bearing[k] < 0)) & np.isfinite(shift)
                ratio = shift / own
                like = (quantity[rows] != quantity[k]) | ((ratio > 1 / _LIKE) & (ratio < _LIKE))
                together = other & (ratio > 0) & (np.abs(shift) >= policy.share_spreads * spread[rows]) & like
                for group in (other, other & (quantity[rows] == quantity[k])):
                    if group.sum() + 1 >= policy.share_min_points:
                        made[k] = max(made[k], (together & group).sum() / group.sum())
    return made


def _groups(targets: pd.DataFrame, far: Bools, fewest: int) -> Iterator[Ints]:
    """The targets of each night and collector, in their order, where there are enough and one of them is far."""
    collector, names = pd.factorize(targets["collector"])
    collector[(collector >= 0) & np.append(names == "", False)[collector]] = -1
    night = targets["night"].to_numpy()
    order = np.flatnonzero(collector >= 0)
    order = order[np.lexsort((collector[order], night[order]))]
    begins = (np.diff(night[order], prepend=-1) != 0) | (np.diff(collector[order], prepend=-1) != 0)
    start = np.append(np.flatnonzero(begins), len(order))
    wanted = np.diff(start) >= fewest
    if len(order):
        wanted &= np.logical_or.reduceat(far[order], start[:-1])
    for a, b in zip(start[:-1][wanted].tolist(), start[1:][wanted].tolist(), strict=True):
        yield order[a:b]
