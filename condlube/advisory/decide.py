"""From the facts to the decisions and their evidence: the straight line, for any number of bearings and nights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.advisory import guards, story
from condlube.advisory.cost import cheapest, expected_costs
from condlube.advisory.dose import dose
from condlube.advisory.due import due
from condlube.advisory.settling import settling
from condlube.advisory.situation import answered, situation, survey_turns
from condlube.assessment import kernel
from condlube.assessment.evidence import Evidence, condition_status, gather
from condlube.assessment.life import grease_limits
from condlube.assessment.nights import Nights, one_night
from condlube.assessment.posterior import posterior
from condlube.assessment.priors import context, priors
from condlube.assessment.records import records
from condlube.assessment.rows import evidence_rows
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.register.model import Site
from condlube.schema.words import ACTIONS, STATES


class Decided(NamedTuple):
    """Tables ``decisions`` and ``evidence`` of the schema, without ``run_id``."""

    decisions: pd.DataFrame
    evidence: pd.DataFrame


@dataclass(frozen=True)
class Part:
    """Rows that one policy decides: their positions, what was decided, and what it was decided from; ``facts`` are
    ``guards.FACTS``, ``over_before`` is that of ``settling``."""

    at: IntArray
    nights: Nights
    life: pd.DataFrame
    prior: FloatArray
    codes: dict[str, BoolArray]
    evidence: Evidence
    over_before: FloatArray
    facts: FloatArray
    decisions: pd.DataFrame


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
    """Decide one night for every bearing.

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
    nights = one_night(bearings, events, as_of, site.zone)
    which = pd.Index(bearings["bearing_id"]).get_indexer(reviews["bearing_id"])
    mine = reviews[which >= 0].assign(which=which[which >= 0])
    parts = list(decide_nights(nights, greases, life, deviations, mine, policy))
    rows = [evidence_rows(p.nights, p.life, p.prior, p.codes, p.evidence, p.over_before) for p in parts]
    evidence = pd.concat(rows, ignore_index=True)
    order = pd.Index(bearings["bearing_id"]).get_indexer(evidence["bearing_id"])
    decisions = in_order([(part.at, part.decisions) for part in parts])
    return Decided(decisions, evidence.iloc[np.argsort(order, kind="stable")].reset_index(drop=True))


def decide_nights(
    nights: Nights, greases: pd.DataFrame, life: pd.DataFrame, deviations: pd.DataFrame, reviews: pd.DataFrame,
    policy: Policy,
) -> Iterator[Part]:  # fmt: skip
    """Decide bearing-nights, those of one criticality together.

    ``nights.bearings`` carries the columns of ``survey_turns``; ``life`` is ``life_nights`` of them, ``deviations``
    are those of all the nights, and ``reviews`` name in ``which`` the row that sees them.
    """
    criticality = nights.bearings["criticality"]
    own = {word: policy.for_criticality(word) for word in criticality.unique()}
    words = criticality.map({word: "" if rules is policy else word for word, rules in own.items()})
    for word in sorted(set(words)) or [""]:
        at = np.flatnonzero(words == word)
        row = np.full(len(words) + 1, -1)
        row[at] = np.arange(len(at))
        seen = reviews.assign(which=row[reviews["which"].to_numpy(dtype=np.int64)])
        mine = nights if len(at) == len(words) else nights.take(at)
        used = life.iloc[at].reset_index(drop=True)
        yield _decide(at, mine, greases, used, deviations, seen[seen["which"] >= 0], policy.for_criticality(word))


def in_order(parts: Sequence[tuple[IntArray, pd.DataFrame]]) -> pd.DataFrame:
    """The decisions of some rows each, in order of the rows."""
    made = pd.concat([decisions for _, decisions in parts], ignore_index=True)
    order = np.argsort(np.concatenate([at for at, _ in parts]))
    return made.iloc[order].reset_index(drop=True)


def _decide(
    at: IntArray, nights: Nights, greases: pd.DataFrame, life: pd.DataFrame, deviations: pd.DataFrame,
    reviews: pd.DataFrame, policy: Policy,
) -> Part:  # fmt: skip
    bearings, night = nights.bearings, nights.night
    found = records(nights, deviations, policy)
    limits = grease_limits(bearings, greases, life["last_grease"].to_numpy(dtype=object))
    evidence = gather(nights, deviations, found, limits, policy)
    made, codes = context(life, nights, greases, found, evidence, policy)
    prior = priors(made, policy)
    odds = posterior(prior, evidence.bits)
    cost = expected_costs(odds, made, policy)
    settled = settling(life, found, evidence, policy)
    s = situation(nights, greases, life, found, evidence, odds, cost, settled, reviews, policy)
    applied = guards.applied(s, policy, night)
    left = guards.allowed(applied)
    cost_call = cheapest(cost, np.ones_like(left))
    call = cheapest(cost, left)

    hold = kernel.hold_all(made, rules(policy), costs(policy))
    dearer = costs(policy)[ACTIONS.index("grease")] - hold
    state = story.leading_state(odds, hold, call)
    source = story.leading_source(evidence, state)
    basis = story.basis(call, cost_call, applied, evidence, s)
    look = story.look_at(call, basis, state, s)
    within = story.within_days(call, basis, look, evidence, state, s, policy)
    actions = np.array(ACTIONS, dtype=object)
    decisions = pd.DataFrame({
        "night": night.astype(object),
        "bearing_id": bearings["bearing_id"],
        "call": actions[call],
        "second_action": story.second_action(call, look, state, prior, odds, dearer, evidence, s, applied, policy),
        "look_at": story.supply_first(call, look, bearings),
        "basis": basis,
        "guards": _codes(applied),
        "cost_call": actions[cost_call],
        "reason": story.reason(call, basis, odds, state, source, evidence, applied, s, policy),
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
    over = {
        source: np.where(looked_into, 0.0, evidence.figure(source, "nights_over"))
        for source, looked_into in answered(found, evidence, policy).items()
    }
    inverter = (bearings["drive"] == "inverter").to_numpy(dtype=np.bool_)
    facts = guards.facts(s, over, inverter, made[:, CONTEXT.index("supply_factor")], policy)
    return Part(at, nights, life, prior, codes, evidence, settled.over_before, facts, decisions)


def _codes(applied: BoolArray) -> npt.NDArray[np.object_]:
    """Codes of the guards that apply, in their order, one text a row; each combination is written once."""
    pattern, which = np.unique(applied @ (1 << np.arange(applied.shape[1])), return_inverse=True)
    texts = [" ".join(code for k, code in enumerate(guards.CODES) if bits >> k & 1) for bits in pattern.tolist()]
    return np.array(texts, dtype=object)[which]


def _margin(cost: FloatArray, call: IntArray, left: BoolArray) -> FloatArray:
    """Cost of the next best action that the guards leave, over that of the call; NaN where there is no other."""
    own = cost[np.arange(len(call)), call]
    others = np.where(left, cost, np.inf)
    others[np.arange(len(call)), call] = np.inf
    best = others.min(axis=1)
    return np.asarray(np.where(np.isfinite(best), best, np.nan) - own)
