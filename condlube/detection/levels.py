"""Level of each night against a frozen reference: cells compared at like operating conditions, then averaged."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.detection.series import Cells
from condlube.manipulation.expected import OUTSIDE, UNKNOWN, Models, predict
from condlube.manipulation.kernel import Floats, Ints, ranges

COMPARED = 0  # other codes: OUTSIDE, UNKNOWN (of expected), UNCERTAIN
UNCERTAIN = 4

__all__ = ["COMPARED", "OUTSIDE", "UNCERTAIN", "UNKNOWN", "NightLevels", "night_levels"]


class NightLevels(NamedTuple):
    """Nights with sound cells, ordered by track and day."""

    track: Ints
    day: Ints
    residual: Floats
    variance: Floats  # of measuring and model
    observed: Floats
    code: Ints  # COMPARED, OUTSIDE, UNKNOWN or UNCERTAIN


def night_levels(
    reference: Ints, lo: Ints, hi: Ints, cells: Cells, models: Models, margins: Floats, most_uncertain: float
) -> NightLevels:
    """Nights of many tracks; track t compares cells ``lo[t]`` to ``hi[t]`` with reference ``reference[t]``.

    Cells outside the operating range seen count only where a night has no other, and then the night is not compared.
    """
    rows = ranges(lo, hi)
    sound = cells.sound[rows]
    track, rows = np.repeat(np.arange(len(lo)), hi - lo)[sound], rows[sound]
    day, level = cells.day[rows], cells.level[rows]
    expected, model, place = predict(models, reference[track], cells.operating[rows], margins[track])
    place[place < OUTSIDE] = COMPARED
    begins = np.append(True, (np.diff(track) != 0) | (np.diff(day) != 0))[: len(rows)]
    first, night = np.flatnonzero(begins), np.cumsum(begins) - 1
    best = np.minimum.reduceat(place, first) if len(first) else place
    taken = place == best[night]
    weight = np.where(taken, np.maximum(cells.weight[rows], 1e-9), 0.0)
    n = cells.n[rows]

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(night, values, len(first)), dtype=float)

    mass = total(weight)
    variance = total(weight * model) / mass
    noise = total(weight**2 * cells.within[rows] ** 2 / np.maximum(n, 1)) / mass**2
    uncertain = np.sqrt(variance) > most_uncertain * models.spread[reference[track[first]]]
    return NightLevels(
        track[first], day[first], total(weight * (level - expected)) / mass, variance + noise,
        total(weight * level) / mass, np.where((best == COMPARED) & uncertain, UNCERTAIN, best),
    )  # fmt: skip
