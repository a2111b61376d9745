"""Other calls on the same replay: their scores, the trade-off curve, and the calls that would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.advisory.cost import cheapest
from condlube.assessment.sources import FloatArray, IntArray
from condlube.backtest import bootstrap
from condlube.backtest.judge import Judged
from condlube.backtest.matters import calls_of
from condlube.backtest.nulls import number
from condlube.backtest.outcomes import outcomes
from condlube.backtest.scores import Score, scores
from condlube.backtest.trial import Facts
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Prices of an inspection, as multiples of the policy's, along the trade-off curve."""


class Point(NamedTuple):
    """One point of the trade-off: what an inspection is taken to cost, what is caught, and what it costs in walks."""

    factor: float
    caught: bootstrap.Interval
    false_inspects: bootstrap.Interval


class Turned(NamedTuple):
    """A call of the last night that the proposal would change."""

    bearing_id: str
    before: str
    after: str


class Replayed:
    """A judged replay on which other calls can be scored."""

    def __init__(self, judged: Judged, decisions: pd.DataFrame, dose_g: FloatArray, rng: np.random.Generator) -> None:
        self.judged, self.decisions, self.dose_g = judged, decisions, dose_g
        self.x = number(judged.grid, decisions, "x")
        self.drawn = bootstrap.weights(len(judged.grid.bearing_ids), rng)

    def scores(self, calls: IntArray, cost: FloatArray, policy: Policy) -> dict[str, Score]:
        """Scores of calls [rows], by the costs of a policy."""
        by_cost = cheapest(np.nan_to_num(cost), np.ones(cost.shape, dtype=np.bool_))
        grid = self.judged.grid
        on_grid = calls_of(grid, calls, by_cost, self.decisions["guards"])
        found = outcomes(grid, on_grid, self.x, self.judged.record, self.judged.windows)
        return scores(grid, found, self.dose_g, policy, self.drawn)


def trade_off(replayed: Replayed, facts: Facts, policy: Policy, factors: Sequence[float] = FACTORS) -> list[Point]:
    """Caught failures against false walks, as inspections are taken to be cheaper or dearer."""
    made = []
    for factor in factors:
        inspect = replace(policy.cost.inspect, **{k: factor * v for k, v in vars(policy.cost.inspect).items()})
        tried = replace(policy, cost=replace(policy.cost, inspect=inspect))
        cost, calls = facts.costs(tried)
        found = replayed.scores(calls, cost, policy)
        made.append(Point(factor, found["caught"].interval, found["false inspects"].interval))
    return made


def turned(replayed: Replayed, before: IntArray, after: IntArray) -> list[Turned]:
    """Calls of the last replayed night that differ."""
    grid = replayed.judged.grid
    rows = grid.row[:, -1]
    words = [*ACTIONS, "failed"]
    return [
        Turned(name, words[before[row]], words[after[row]])
        for name, row in zip(grid.bearing_ids, rows.tolist(), strict=True)
        if row >= 0 and before[row] != after[row]
    ]
