"""From a judged replay to a proposal: fitted weights, searched guards, and what both are worth on bearings held out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from condlube.assessment.greasings import doses
from condlube.assessment.sources import FloatArray, IntArray
from condlube.backtest.bootstrap import Interval
from condlube.backtest.compared import Point, Replayed, Turned, trade_off, turned
from condlube.backtest.judge import POLICY, Judged
from condlube.backtest.matters import positions_of
from condlube.backtest.scores import Score, saved
from condlube.backtest.search import guards
from condlube.backtest.trial import Facts
from condlube.backtest.tuning import Tuned, tune_weights
from condlube.chain import Plant
from condlube.policy.diff import differences
from condlube.policy.model import Policy

Scores = dict[str, Score]


@dataclass(frozen=True)
class Proposal:
    """What tuning proposes; ``policy`` is the one in force where ``found.why_not`` says why nothing moves.

    ``in_force``, ``tuned`` and ``held_out`` are scores on the replayed nights: of the policy in force, of the proposal
    on the bearings it was fitted to, and of what was fitted without the bearing that it calls for. ``saves`` is the
    cost per bearing-year that the policy in force and each null have more than the calls held out (where nothing was
    held out: than the policy in force).
    """

    found: Tuned
    policy: Policy
    in_force: Scores
    tuned: Scores | None
    held_out: Scores | None
    saves: dict[str, Interval]
    trade_off: list[Point]
    turned: list[Turned]

    @property
    def moved(self) -> list[str]:
        """What of the policy would move: states whose weights were fitted, sources whose anchors stand elsewhere,
        guards."""
        keys = [d.key for d in differences(self.found.base, self.policy)]
        anchors = sorted({key.split(".")[-2] for key in keys if key.startswith("weights.") and key.endswith(".at")})
        weights = list(self.found.moved) if any(key.startswith("weights.") for key in keys) else []
        return [*weights, *(f"anchors of {a}" for a in anchors), *sorted(k for k in keys if k.startswith("guard."))]


def propose(
    judged: Judged, decisions: pd.DataFrame, plant: Plant, policy: Policy, rng: np.random.Generator
) -> Proposal:
    """Fit weights, search guards, and propose both where they hold on bearings that they were not fitted to.

    Nothing moves where the calls on bearings held out surely cost more than those of the policy in force.
    """
    found = tune_weights(judged, decisions, policy, rng)
    facts = Facts(decisions, plant.bearings.set_index("bearing_id")["criticality"], policy)
    replayed = Replayed(judged, decisions, _dose_g(judged, plant), rng)
    everyone = np.arange(len(judged.grid.bearing_ids))

    def score(tried: Policy) -> Score:
        cost, calls = facts.costs(tried)
        return replayed.scores(calls, cost, policy)["cost"]

    before = positions_of(decisions["call"])
    cost, _ = facts.costs(policy)
    in_force = replayed.scores(before, cost, policy)
    made, after, tuned, held_out = policy, before, None, None
    if found.folds:
        folds = [(held, guards(own, score, replayed.drawn, np.setdiff1d(everyone, held))) for held, own in found.folds]
        held_out = replayed.scores(*_held_out(folds, facts, judged, decisions, before, cost), policy)
        made = guards(found.policy, score, replayed.drawn, everyone)
        if made is not policy and saved(held_out["cost"], in_force["cost"], replayed.drawn).high < 0:
            made, found = (
                policy,
                replace(found, policy=policy, why_not="on bearings held out the tuned calls cost more"),
            )
    if made is not policy:
        own_cost, after = facts.costs(made)
        tuned = replayed.scores(after, own_cost, policy)
    ours = (held_out or in_force)["cost"]
    others = {name: own["cost"] for name, own in judged.scores.items() if name != POLICY}
    others = {"in force": in_force["cost"], **others} if held_out else others
    saves = {name: saved(ours, other, replayed.drawn) for name, other in others.items()}
    return Proposal(
        found, made, in_force, tuned, held_out, saves, trade_off(replayed, facts, made), turned(replayed, before, after)
    )


def _held_out(
    folds: list[tuple[IntArray, Policy]], facts: Facts, judged: Judged, decisions: pd.DataFrame, calls: IntArray,
    cost: FloatArray,
) -> tuple[IntArray, FloatArray]:  # fmt: skip
    """Calls and costs [rows] of each bearing under what was fitted without it."""
    which = pd.Index(judged.grid.bearing_ids).get_indexer(decisions["bearing_id"])
    calls, cost = calls.copy(), cost.copy()
    for held, own in folds:
        mine = np.isin(which, held)
        own_cost, own_calls = facts.costs(own)
        calls[mine], cost[mine] = own_calls[mine], own_cost[mine]
    return calls, cost


def _dose_g(judged: Judged, plant: Plant) -> FloatArray:
    dose = pd.Series(doses(plant.bearings), index=plant.bearings["bearing_id"])
    return np.asarray(dose.reindex(list(judged.grid.bearing_ids)).to_numpy(dtype=np.float64))
