"""From tonight's facts to the decisions and their evidence: the straight line, for any number of bearings."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.advisory import guards, story
from condlube.advisory.cost import cheapest, expected_costs
from condlube.advisory.dose import dose
from condlube.advisory.due import due
from condlube.advisory.situation import situation, survey_turns
from condlube.assessment import kernel
from condlube.assessment.evidence import condition_status, gather
from condlube.assessment.greasings import instant
from condlube.assessment.life import grease_limits
from condlube.assessment.posterior import posterior
from condlube.assessment.priors import context, priors
from condlube.assessment.records import records
from condlube.assessment.rows import evidence_rows
from condlube.assessment.rules import costs, rules
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.register.model import Site
from condlube.schema.nights import night_of
from condlube.schema.words import ACTIONS, STATES


class Decided(NamedTuple):
    """Tables ``decisions`` and ``evidence`` of the schema, without ``run_id``."""

    decisions: pd.DataFrame
    evidence: pd.DataFrame


def decide(
    bearings: pd.DataFrame,
    greases: pd.DataFrame,
    events: pd.DataFrame,
    life: pd.DataFrame,
    deviations: pd.DataFrame,
    reviews: pd.DataFrame,
    site: Site,
    policy: Policy,
    as_of: datetime,
) -> Decided:
    """Decide for every bearing.

    Parameters
    ----------
    bearings, greases
        Register tables, defaults filled in. ``bearings`` may carry the columns of ``survey_turns``; without them these
        bearings are taken for the whole register.
    events, reviews
        Rows that the night may see.
    life
        ``assessment.life.life`` of the same bearings.
    deviations
        Of tonight.
    as_of
        End of the night.
    """
    bearings = bearings.reset_index(drop=True)
    life = life.reset_index(drop=True)
    if "survey_turn" not in bearings:
        bearings = bearings.join(survey_turns(bearings, policy))
    groups = bearings["criticality"].map(lambda word: policy.for_criticality(word) is policy)
    words = bearings["criticality"].where(~groups, "")
    parts = []
    for word in sorted(set(words)) or [""]:
        own, used = bearings[words == word].reset_index(drop=True), life[words == word].reset_index(drop=True)
        rules_here = policy.for_criticality(word)
        parts.append(_decide(own, greases, events, used, deviations, reviews, site, rules_here, as_of))
    order = pd.Index(bearings["bearing_id"])
    decisions = pd.concat([part.decisions for part in parts], ignore_index=True)
    decisions = decisions.iloc[np.argsort(order.get_indexer(decisions["bearing_id"]), kind="stable")]
    evidence = pd.concat([part.evidence for part in parts], ignore_index=True)
    evidence = evidence.iloc[np.argsort(order.get_indexer(evidence["bearing_id"]), kind="stable")]
    return Decided(decisions.reset_index(drop=True), evidence.reset_index(drop=True))


def _decide(
    bearings: pd.DataFrame, greases: pd.DataFrame, events: pd.DataFrame, life: pd.DataFrame, deviations: pd.DataFrame,
    reviews: pd.DataFrame, site: Site, policy: Policy, as_of: datetime,
) -> Decided:  # fmt: skip
    night = night_of(as_of, site.zone)
    found = records(bearings, events, policy, instant(as_of))
    made, codes = context(life, bearings, greases, found, deviations, policy, as_of)
    limits = grease_limits(bearings, greases, life["last_grease"].to_numpy(dtype=object))
    evidence = gather(bearings, deviations, found, limits, policy, as_of)
    prior = priors(made, policy)
    odds = posterior(prior, evidence.bits)
    cost = expected_costs(odds, made, policy)
    s = situation(bearings, greases, life, found, evidence, events, reviews, policy, as_of)
    applied = guards.applied(s, policy, night)
    left = guards.allowed(applied)
    cost_call = cheapest(cost, np.ones_like(left))
    call = cheapest(cost, left)

    hold = kernel.hold_all(made, rules(policy), costs(policy))
    dearer = costs(policy)[ACTIONS.index("grease")] - hold
    state = story.leading_state(odds, hold)
    source = story.leading_source(evidence, state)
    basis = story.basis(call, cost_call, applied, evidence, s)
    look = story.look_at(call, basis, state)
    within = story.within_days(call, basis, look, source, policy)
    actions = np.array(ACTIONS, dtype=object)
    decisions = pd.DataFrame({
        "night": night,
        "bearing_id": bearings["bearing_id"],
        "call": actions[call],
        "second_action": story.second_action(call, look, odds, dearer, evidence, s, left, policy),
        "look_at": story.supply_first(call, look, bearings),
        "basis": basis,
        "guards": [" ".join(c for c, is_so in zip(guards.CODES, row, strict=True) if is_so) for row in applied],
        "cost_call": actions[cost_call],
        "reason": story.reason(call, basis, state, source, evidence, applied),
        **{f"p_{word}": odds[:, k] for k, word in enumerate(STATES)},
        **{f"prior_{word}": prior[:, k] for k, word in enumerate(STATES)},
        **{f"cost_{word}": cost[:, k] for k, word in enumerate(ACTIONS)},
        "margin": _margin(cost, call, left),
        "x": life["x"],
        "interval_h": life["interval_h"],
        "interval_method": life["interval_method"].where(life["interval_reason"] == "", life["interval_reason"]),
        **due(night, made, evidence, s, applied, call, life, within, policy),
        **dose(bearings, life, s.not_greasable, policy),
        "condition_status": condition_status(evidence),
        "defaults_used": bearings["defaults_used"],
        "last_greased": life["last_greased"],
        "days_since_greasing": life["days"],
        "dose_ratio": life["dose_ratio"],
        "failed": "",
    })  # fmt: skip
    return Decided(decisions, evidence_rows(bearings, life, prior, codes, evidence, night))


def _margin(cost: FloatArray, call: IntArray, left: BoolArray) -> FloatArray:
    """Cost of the next best action that the guards leave, over that of the call; NaN where there is no other."""
    own = cost[np.arange(len(call)), call]
    others = np.where(left, cost, np.inf)
    others[np.arange(len(call)), call] = np.inf
    best = others.min(axis=1)
    return np.asarray(np.where(np.isfinite(best), best, np.nan) - own)
