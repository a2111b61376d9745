"""Grease life of the plant's own fillings as a Weibull distribution, beside the handbook's (scipy, right censored).

Life is counted in shares of the interval, x: by the handbook 1 % have run out at x = 1. A filling that was renewed or
replaced before it ended, or is still in, is censored.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np
import pandas as pd
from scipy import stats

from condlube.assessment.sources import FloatArray
from condlube.backtest.matters import Grid
from condlube.backtest.record import Record
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy

SHAPE_NEEDS = 5
"""With fewer ended fillings the handbook's shape is kept and only the scale fitted."""
LEVEL = 0.9


@dataclass(frozen=True)
class GreaseLife:
    """Weibull fit. ``l01`` and ``l10`` are the shares of the interval at which 1 and 10 % have run out, each with the
    handbook's beside it; ``l01_range`` a 90 % interval by the likelihood ratio at the fitted or kept shape.
    ``handbook_p`` is the chance of a record as far off if the handbook's curve were true."""

    fillings: int
    ended: int
    shape: float
    scale: float
    shape_kept: bool
    l01: float
    l10: float
    l01_range: tuple[float, float]
    handbook_l10: float
    handbook_p: float


def fillings(grid: Grid, x: FloatArray, record: Record) -> tuple[FloatArray, BoolArray]:
    """Share of the interval at which each filling ended or was last seen, and whether it ended in a failure for want of
    grease. Only fillings that began in the span: of older ones those that failed before it are not there."""
    ends: list[tuple[float, bool]] = []
    for which in range(len(grid.bearing_ids)):
        renewed = _days(record.greasings, which) + _days(record.replacements, which)
        dry = record.failures[record.failures["which"] == which]
        failed = dry.loc[dry["lubrication"].eq(True), "day"].tolist()
        begin = None
        last = (record.last + 1, False)
        for day, ended in sorted([*((d, False) for d in renewed), *((d, True) for d in failed), last]):
            at = int(np.searchsorted(grid.day, day)) - 1
            if begin is not None and at >= 0 and grid.day[at] >= begin and x[which, at] > 0:
                ends.append((float(x[which, at]), ended))
            begin = day if day >= record.first else None
    made = np.array([e[0] for e in ends]), np.array([e[1] for e in ends], dtype=np.bool_)
    return made[0], made[1]


def grease_life(x: FloatArray, ended: BoolArray, policy: Policy) -> GreaseLife | None:
    """Fit of ``fillings``; None where none has ended."""
    count = int(ended.sum())
    if not count:
        return None
    shape = policy.prior.weibull_slope
    rate = -log(1.0 - policy.prior.starved_at_interval)
    data = stats.CensoredData(uncensored=x[ended], right=x[~ended])
    keeps = count < SHAPE_NEEDS
    if keeps:
        scale = _scale(x, count, shape)
    else:
        shape, _, scale = stats.weibull_min.fit(data, floc=0)
    best = _log_likelihood(x, ended, shape, scale)
    handbook = _log_likelihood(x, ended, policy.prior.weibull_slope, rate ** (-1 / policy.prior.weibull_slope))
    chance = float(stats.chi2.sf(2 * (best - handbook), 1 if keeps else 2))
    exposure = float((x**shape).sum())
    low, high = (exposure / (stats.chi2.ppf(q, 2 * count) / 2) for q in ((1 + LEVEL) / 2, (1 - LEVEL) / 2))

    def at(share: float, eta: float) -> float:
        return float(eta * (-log(1.0 - share)) ** (1 / shape))

    span = at(0.01, low ** (1 / shape)), at(0.01, high ** (1 / shape))
    handbook_l10 = (-log(0.9) / rate) ** (1 / policy.prior.weibull_slope)
    return GreaseLife(
        len(x), count, float(shape), float(scale), keeps, at(0.01, scale), at(0.1, scale), span, handbook_l10, chance
    )


def failed_by(life: GreaseLife, x: float) -> float:
    """Share of the fillings that have run out at x of the interval."""
    return 1.0 - exp(-((x / life.scale) ** life.shape))


def _scale(x: FloatArray, count: int, shape: float) -> float:
    """Most likely scale at a given shape."""
    return float(((x**shape).sum() / count) ** (1 / shape))


def _log_likelihood(x: FloatArray, ended: BoolArray, shape: float, scale: float) -> float:
    life = stats.weibull_min(shape, scale=scale)
    return float(life.logpdf(x[ended]).sum() + life.logsf(x[~ended]).sum())


def _days(frame: pd.DataFrame, which: int) -> list[int]:
    return [int(day) for day in frame.loc[frame["which"] == which, "day"]]
