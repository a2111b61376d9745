"""Extension: a machine that runs for good outside the conditions seen gives its reference a successor for them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from condlube.detection.learned import Learned
from condlube.detection.series import Cells
from condlube.manipulation.expected import OUTSIDE, predict
from condlube.manipulation.kernel import Bools, Ints, ranges, starts_of


def extensions(
    points: Ints, covering: Sequence[Sequence[int]], learned: Learned, cells: Cells, learnable: Bools, nights: int,
    days: int,
) -> dict[int, Ints]:  # fmt: skip
    """For each point that has them: cells of the first ``nights`` nights within ``days`` days outside what it knows.

    ``covering`` are the references that serve a point together; a cell counts where all of them call it outside.
    """
    if not len(points):
        return {}
    lo, hi = cells.start[points], cells.start[points + 1]
    rows, of = ranges(lo, hi), np.repeat(np.arange(len(points)), hi - lo)
    since = np.array([max(learned.last[r] for r in known) for known in covering], dtype=np.int64)
    outside = learnable[rows] & (cells.day[rows] > since[of])
    for depth in range(max(len(known) for known in covering)):
        model = np.array([known[depth] if depth < len(known) else known[0] for known in covering], dtype=np.int64)
        asked = np.flatnonzero(outside)
        place = predict(
            learned.models, model[of[asked]], cells.operating[rows[asked]], learned.margins[points[of[asked]]]
        )[2]
        outside[asked] = place == OUTSIDE
    rows, of = rows[outside], of[outside]
    begins = np.append(True, (np.diff(of) != 0) | (np.diff(cells.day[rows]) != 0))[: len(rows)]
    night, first = np.cumsum(begins) - 1, np.flatnonzero(begins)
    start = starts_of(of[first], len(points))
    day = cells.day[rows[first]]
    made = {}
    for k, p in enumerate(points.tolist()):
        own = day[start[k] : start[k + 1]]
        close = np.flatnonzero(own[nights - 1 :] - own[: max(len(own) - nights + 1, 0)] < days)
        if len(close):
            wanted = start[k] + close[0]
            made[p] = rows[(night >= wanted) & (night < wanted + nights)]
    return made
