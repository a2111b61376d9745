"""Intervals by resampling bearings: nights of one bearing are not independent, bearings are."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from condlube.assessment.sources import FloatArray

LEVEL = 0.9
RESAMPLES = 1000


class Interval(NamedTuple):
    """A ratio with its percentile interval; NaN where there is nothing to divide by."""

    value: float
    low: float
    high: float


def weights(count: int, rng: np.random.Generator, resamples: int = RESAMPLES) -> FloatArray:
    """How often each of ``count`` bearings is drawn in each resample [resamples, count]."""
    return rng.multinomial(count, np.full(count, 1.0 / count), size=resamples).astype(np.float64)


def ratio(above: FloatArray, below: FloatArray, drawn: FloatArray, level: float = LEVEL) -> Interval:
    """Sum of ``above`` over sum of ``below``, arrays over bearings, with the interval over the resamples ``drawn``."""
    total = below.sum()
    if not total > 0:
        return Interval(np.nan, np.nan, np.nan)
    below_drawn = drawn @ below
    found = (drawn @ above)[below_drawn > 0] / below_drawn[below_drawn > 0]
    low, high = np.quantile(found, [(1 - level) / 2, (1 + level) / 2])
    return Interval(float(above.sum() / total), float(low), float(high))
