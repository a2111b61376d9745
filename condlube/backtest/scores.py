"""What a policy's calls were worth over the span: caught failures, false walks, grease and cost, per bearing-year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binomtest, chi2

from condlube.assessment.sources import FloatArray
from condlube.backtest.bootstrap import LEVEL, Interval, ratio
from condlube.backtest.matters import Grid, positions
from condlube.policy.model import Policy


@dataclass(frozen=True)
class Score:
    """One figure with its interval over bearings: the sum of ``above`` over that of ``below``, arrays over bearings.

    ``events`` is how many things it counts.
    """

    name: str
    unit: str
    interval: Interval
    events: int
    above: FloatArray
    below: FloatArray


SHARE, RATE = "share", "per bearing-year"
FAILURES = {"caught, lubrication": True, "caught, other": False}


def scores(grid: Grid, found: pd.DataFrame, dose_g: FloatArray, policy: Policy, drawn: FloatArray) -> dict[str, Score]:
    """Scores by name.

    Parameters
    ----------
    found
        Table of ``outcomes``.
    dose_g
        Grease of one greasing of each bearing (g), NaN where it takes none.
    drawn
        ``bootstrap.weights`` over the bearings of the grid: the same for every policy that is compared.
    """
    which = positions(grid, found["bearing_id"].to_list())
    what, outcome = (found[c].to_numpy(dtype=object) for c in ("what", "outcome"))

    def count(kind: str, *outcomes: str) -> FloatArray:
        chosen = (what == kind) & (np.isin(outcome, outcomes) if outcomes else True)
        return np.bincount(which[chosen], minlength=len(grid.bearing_ids)).astype(np.float64)

    def told(lubrication: bool, *outcomes: str) -> FloatArray:
        mine = found["lubrication"].eq(lubrication).fillna(False).to_numpy(dtype=np.bool_)
        chosen = (what == "failure") & mine & np.isin(outcome, outcomes)
        return np.bincount(which[chosen], minlength=len(grid.bearing_ids)).astype(np.float64)

    years = grid.years
    judged = ("early", "late", "missed")
    made: dict[str, Score] = {}

    def put(name: str, unit: str, above: FloatArray, below: FloatArray) -> None:
        events = below if unit == SHARE else above
        interval = ratio(above, below, drawn)
        if unit == SHARE and below.sum() > 0:
            interval = _no_narrower(interval, *binomial(round(float(above.sum())), round(float(below.sum()))))
        if unit == RATE and below.sum() > 0:
            interval = _no_narrower(interval, *poisson(round(float(above.sum())), float(below.sum())))
        made[name] = Score(name, unit, interval, round(float(events.sum())), above, below)

    put("caught", SHARE, count("failure", "early"), count("failure", *judged))
    for name, is_lubrication in FAILURES.items():
        put(name, SHARE, told(is_lubrication, "early"), told(is_lubrication, *judged))
    put("inspect matters", RATE, count("inspect"), years)
    put("surveys", RATE, count("survey"), years)
    put("false inspects", RATE, count("inspect", "false"), years)
    put("grease matters", RATE, count("grease"), years)
    put("false greases", RATE, count("grease", "false"), years)
    put("extensions right", SHARE, count("extension", "right"), count("extension", "right", "wrong"))
    dose = np.nan_to_num(dose_g)
    put("grease called", "g per bearing-year", count("grease") * dose, years)
    put("cost", "needless greasings per bearing-year", realised_cost(count, policy), years)
    return made


def saved(mine: Score, other: Score, drawn: FloatArray) -> Interval:
    """How much more another policy has of a figure on the same bearings, with its interval over the same resamples."""
    return ratio(other.above - mine.above, mine.below, drawn)


def binomial(k: int, n: int) -> tuple[float, float]:
    """Exact interval of a share: two of two are not surely all."""
    exact = binomtest(k, n).proportion_ci(LEVEL, "exact")
    return float(exact.low), float(exact.high)


def poisson(k: int, exposure: float) -> tuple[float, float]:
    """Exact interval of a rate (Garwood 1936): nothing seen in a year is not surely nothing."""
    low, high = (1 - LEVEL) / 2, (1 + LEVEL) / 2
    least = chi2.ppf(low, 2 * k) / 2 if k else 0.0
    return float(least / exposure), float(chi2.ppf(high, 2 * k + 2) / 2 / exposure)


def _no_narrower(interval: Interval, low: float, high: float) -> Interval:
    return Interval(interval.value, min(interval.low, low), max(interval.high, high))


def realised_cost(count, policy: Policy) -> FloatArray:  # type: ignore[no-untyped-def]
    """Cost of what the calls led to, per bearing, by the policy's own cost table.

    A failure that nobody was warned of in time costs ``cost.hold.damaged``; a matter costs its work:
    a true inspect that of a damaged bearing, any other that of an adequate one, a grease matter one greasing. Surveys
    stand apart: what they ask for is missing whatever the policy.
    """
    cost = policy.cost
    walks = count("inspect") - count("inspect", "true")
    total = cost.hold.damaged * count("failure", "late", "missed") + cost.inspect.damaged * count("inspect", "true")
    return np.asarray(total + cost.inspect.adequate * walks + cost.grease.adequate * count("grease"))
