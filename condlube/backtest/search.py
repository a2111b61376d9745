"""A small search over what a fit of weights leaves: where the anchors stand, and parameters of two guards."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from condlube.assessment.sources import LEVELS, FloatArray, IntArray
from condlube.backtest import bootstrap
from condlube.backtest.fit import Nights, log_loss
from condlube.backtest.propose import same_overrides
from condlube.backtest.scores import Score
from condlube.policy.model import Policy

STRETCHES = (0.8, 0.9, 1.1, 1.25)
"""Factors by which all anchors of a level source are moved away from, or towards, a level as expected."""
STEPS = (0.75, 1.25, 1.5)
"""Factors of a guard's parameter."""
LEAST_CAP = 1.0
TELLS_OF = {
    "ultrasound": ("starved", "damaged"), "acceleration": ("starved", "damaged"), "impulsiveness": ("damaged",),
    "velocity": ("machine_fault",), "temperature": ("overfilled", "damaged"),
}  # fmt: skip
"""States that a source mainly tells of. All states share its anchors: these must be on record before they move."""
ScoreOf = Callable[[Policy], Score]
"""Cost of the calls under a policy, with its arrays over bearings."""


def stretched(policy: Policy, factors: dict[str, float]) -> Policy:
    """The policy with the anchors of some level sources moved; their bits stay with them."""
    moved = {}
    for source, factor in factors.items():
        curve, expected = getattr(policy.weights, source), 1.0 if source in ("impulsiveness", "velocity") else 0.0
        at = tuple(round(expected + factor * (a - expected), 3) for a in curve.at)
        moved[source] = replace(curve, at=at)
    return same_overrides(policy, replace(policy, weights=replace(policy.weights, **moved)))


def positions(parts: Sequence[tuple[Nights, Policy]], moved: Sequence[str]) -> dict[str, float]:
    """Factors of the anchors that do better on bearings held out, by more than a standard error over bearings.

    ``parts`` are nights held out, each with the policy that was fitted without them; ``moved`` the states on record.
    """
    found: dict[str, float] = {}
    for source in LEVELS:
        if not set(TELLS_OF[source]) <= set(moved):
            continue
        gains = {factor: _gain(parts, found, {**found, source: factor}) for factor in STRETCHES}
        best = max(gains, key=lambda factor: gains[factor].sum())
        own = gains[best]
        if own.sum() > own.std() * np.sqrt(len(own)):
            found[source] = best
    return found


def _gain(parts: Sequence[tuple[Nights, Policy]], now: dict[str, float], then: dict[str, float]) -> FloatArray:
    """Gain in weighted log loss of every bearing held out."""
    made = []
    for nights, policy in parts:
        better = log_loss(nights, stretched(policy, now)) - log_loss(nights, stretched(policy, then))
        total = np.bincount(nights.group, weights=nights.weight * better)
        made.append(total[np.unique(nights.group)])
    return np.concatenate(made)


def guards(policy: Policy, score: ScoreOf, drawn: FloatArray, inside: IntArray) -> Policy:
    """Parameters of ``early_rise`` and ``extension_cap`` whose calls surely cost less on the bearings ``inside``.

    One parameter after the other; ``score`` gives the cost of the calls under a policy, ``drawn`` the resamples of the
    bearings. Nothing moves where the interval of what it saves includes 0.
    """
    now, here = policy, score(policy)
    mask = np.zeros(len(here.above))
    mask[inside] = 1.0
    for change in (_over_db, partial(_cap, "x_watched"), partial(_cap, "x_moderate")):
        best, least = now, here
        for factor in STEPS:
            for tried in change(now, factor):
                scored = score(tried)
                saved = bootstrap.ratio((here.above - scored.above) * mask, here.below * mask, drawn)
                if saved.low > 0 and (scored.above @ mask) < (least.above @ mask):
                    best, least = tried, scored
        now, here = best, least
    return now


def _over_db(policy: Policy, factor: float) -> Iterator[Policy]:
    own = policy.guard.early_rise
    yield _with_guard(policy, "early_rise", over_db=round(own.over_db * factor, 2))


def _cap(name: str, policy: Policy, factor: float) -> Iterator[Policy]:
    own = policy.guard.extension_cap
    value = round(max(getattr(own, name) * factor, LEAST_CAP), 2)
    caps = replace(own, **{name: value})
    if not list(caps.faults()) and value != getattr(own, name) and value < policy.guard.long_overdue.x:
        yield _with_guard(policy, "extension_cap", **{name: value})


def _with_guard(policy: Policy, guard: str, **values: float) -> Policy:
    own = replace(getattr(policy.guard, guard), **values)
    return same_overrides(policy, replace(policy, guard=replace(policy.guard, **{guard: own})))
