"""Creep: a level that rose all the while its reference was learned is taken at its beginning, lest it hide a fault."""

from __future__ import annotations

import numpy as np

from condlube.detection.series import Cells
from condlube.manipulation.expected import Models, predict
from condlube.manipulation.kernel import Floats, Ints

_NIGHTS = 14  # fewer tell nothing of a trend
_CLEARLY = 4.0  # standard errors of the slope, on correlated nights
_SPREADS = 1.5  # and at least so many spreads over the period


def creep(models: Models, r: int, rows: Ints, cells: Cells, margins: Floats) -> float:
    """How far the middle of the nights that reference ``r`` was learned from lies over their beginning; 0: no creep.

    ``rows`` are its cells, in order of day. A straight line is fitted to the nights' residuals; its standard error
    counts their correlation, estimated about the line.
    """
    day, weight = cells.day[rows], cells.weight[rows]
    begins = np.append(True, np.diff(day) != 0)
    night = np.cumsum(begins) - 1
    if night[-1] + 1 < _NIGHTS:
        return 0.0
    expected = predict(models, np.full(len(rows), r), cells.operating[rows], np.tile(margins, (len(rows), 1)))[0]
    mass = np.bincount(night, weight)
    level = np.bincount(night, weight * (cells.level[rows] - expected)) / mass
    x = day[begins] - day[begins].mean()
    slope = float((x * level).sum() / (x**2).sum())
    apart = level - level.mean() - slope * x
    n, squares = len(level), max(float((apart**2).sum()), 1e-12)
    correlation = float(np.clip((apart[1:] * apart[:-1]).sum() / squares + 2.0 / n, 0.0, 0.9))
    error = np.sqrt(squares / (n - 2) * (1 + correlation) / (1 - correlation) / (x**2).sum())
    rise = slope * (x[-1] - x[0])
    return 0.5 * rise if slope > _CLEARLY * error and rise > _SPREADS * models.spread[r] else 0.0
