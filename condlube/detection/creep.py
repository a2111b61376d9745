"""Creep: a level that rose all the while its reference was learned is taken at its beginning, lest it hide a fault.

Of a few nights that rise far, one above the other, the spread is that about the rise: what grew is not noise.
"""

from __future__ import annotations

import numpy as np

from condlube.detection.series import Cells
from condlube.manipulation.expected import Models, predict
from condlube.manipulation.kernel import Floats, Ints

_NIGHTS = 14  # fewer tell of a trend only where it is large and clearer: a few nights of noise may lie in a line
_FEWEST = 5
_CLEARLY = 4.0  # standard errors of the slope, on correlated nights
_CLEARLY_OF_FEW = 6.0
_SPREADS = 1.5  # and at least so many spreads over the period


def creeps(
    models: Models, references: Ints, start: Ints, rows: Ints, cells: Cells, margins: Floats, floor: Floats,
    large: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """How far the middle of the nights that each reference was learned from lies over their beginning, 0 without creep;
    beside it the spread of each: of a few nights that crept that about the rise, never under ``floor``.

    Reference ``references[k]`` was learned from cells ``rows[start[k]:start[k + 1]]``, in order of day. A straight line
    is fitted to the nights' residuals; its standard error counts their correlation, estimated about the line. Of few
    nights only a ``large`` rise is believed.
    """
    count = len(references)
    of, day = np.repeat(np.arange(count), np.diff(start)), cells.day[rows]
    expected = predict(models, references[of], cells.operating[rows], margins[of])[0]
    begins = (np.diff(of, prepend=-1) != 0) | (np.diff(day, prepend=-1) != 0)
    night, weight = np.cumsum(begins) - 1, cells.weight[rows]
    level = np.bincount(night, weight * (cells.level[rows] - expected)) / np.bincount(night, weight)
    own, x = of[begins], day[begins].astype(float)
    n = np.bincount(own, minlength=count)

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(own, values, count))

    x, y = x - (total(x) / n)[own], level - (total(level) / n)[own]
    reach = np.maximum(total(x**2), 1e-12)
    slope = total(x * y) / reach
    apart = y - slope[own] * x
    squares = np.maximum(total(apart**2), 1e-12)
    following = np.append(0.0, apart[1:] * apart[:-1] * (own[1:] == own[:-1]))
    correlation = np.clip(total(following) / squares + 2.0 / n, 0.0, 0.9)
    error = np.sqrt(squares / np.maximum(n - 2, 1) * (1 + correlation) / (1 - correlation) / reach)
    last = np.cumsum(n) - 1
    rise = slope * (x[last] - x[last - n + 1])
    usual = models.spread[references]
    about = np.sqrt(squares / np.maximum(n - 2, 1)) * (1.0 + 1.5 / n)  # of few nights wider, as the spread of a fit
    few = (n >= _FEWEST) & (n < _NIGHTS) & (slope > _CLEARLY_OF_FEW * error) & (rise > large)
    crept = few | ((n >= _NIGHTS) & (slope > _CLEARLY * error) & (rise > _SPREADS * usual))
    return np.where(crept, 0.5 * rise, 0.0), np.where(few, np.clip(about, floor, usual), usual)
