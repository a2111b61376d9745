"""The assessment of one bearing-night in plain arithmetic: reference of the kernel, and what explanations reckon with.

It needs neither pandas nor a compiler, so that a decision can be asked "what if" at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor, isnan

from condlube.assessment.sources import FINDINGS, OTHERS, POSITION, SOURCES
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

BIT = 2.0**20
LEAST = 1e-12
Bits = dict[str, list[float]]


def curve_bits(source: str, value: float, policy: Policy) -> list[float]:
    """Bits of one source by its curve: per state other than adequate."""
    if source in FINDINGS:
        k = FINDINGS.index(source)
        return [row[k] for row in policy.weights.finding.bits]
    section = getattr(policy.weights, source)
    at = section.anchors
    below = max((k for k in range(len(at)) if at[k] <= value), default=0)
    above = min(below + 1, len(at) - 1)
    share = (value - at[below]) / (at[above] - at[below]) if above > below and value > at[below] else 0.0
    return [_rounded(row[below] + (row[above] - row[below]) * share) for row in section.bits]


def weigh(values: Mapping[str, float], policy: Policy) -> Bits:
    """Bits of every source as counted: no credit for quiet under fast growth, shared information once."""
    bits = {source: curve_bits(source, values[source], policy) for source in SOURCES if source in values}
    if values.get("growth", 0.0) > policy.weights.growth_from:
        for source in set(bits) & {"ultrasound", "acceleration", "impulsiveness", "velocity"}:
            bits[source] = [max(b, 0.0) for b in bits[source]]
    if "ultrasound" in bits and "acceleration" in bits:
        for k, (one, other) in enumerate(zip(bits["ultrasound"], bits["acceleration"], strict=True)):
            smaller = "acceleration" if abs(one) >= abs(other) else "ultrasound"
            bits[smaller][k] = _rounded(bits[smaller][k] * policy.weights.shared_share)
    return bits


def posterior(prior: Sequence[float], bits: Bits) -> list[float]:
    """Probability of each state."""
    totals = [sum(column) for column in zip(*bits.values(), strict=True)] if bits else [0.0] * len(OTHERS)
    weights = [prior[0], *(p * 2.0**total for p, total in zip(prior[1:], totals, strict=True))]
    whole = sum(weights)
    return [w / whole for w in weights]


def failed_share(x: float, policy: Policy) -> float:
    """F(x): share of bearings that have run out of grease life at x of the interval."""
    p = policy.prior
    return float(1.0 - (1.0 - p.starved_at_interval) ** (max(x, 0.0) ** p.weibull_slope))


def priors(context: Mapping[str, float], policy: Policy) -> list[float]:
    """Prior of each state in a context of ``rules.CONTEXT``."""
    p = policy.prior
    half_life = min(p.overfilled_half_life_h, context["interval_h"] / p.overfilled_half_lives_per_interval)
    added = context["overfilled_added"] * 2.0 ** (-context["running_h"] / half_life)
    overfilled = context["overfilled_factor"] * (p.overfilled + added)
    supply = context["supply_factor"] * p.supply_fault * 2.0 ** (-context["x_since"] / p.supply_fault_half_life_x)
    others = [
        max(value, LEAST)
        for value in (overfilled, supply, context["damaged"], context["machine_fault"], context["instrument_fault"])
    ]
    starved = context["starved_factor"] * failed_share(context["x"], policy)
    starved = max(min(starved, p.others_max - sum(others)), LEAST)
    return [1.0 - starved - sum(others), starved, *others]


def hold_costs(context: Mapping[str, float], policy: Policy) -> dict[str, float]:
    """Cost of holding in each state, with the solved cost of holding a starved bearing."""
    p, hold, grease = policy.prior, policy.cost.hold, policy.cost.grease
    made = {state: getattr(hold, state) for state in STATES if state != "starved"}
    at_interval = {
        "overfilled": p.overfilled,
        "supply_fault": max(
            context["supply_factor"] * p.supply_fault * 2.0 ** (-1.0 / p.supply_fault_half_life_x), LEAST
        ),
        "damaged": context["damaged"],
        "machine_fault": context["machine_fault"],
        "instrument_fault": context["instrument_fault"],
    }
    at_interval["adequate"] = 1.0 - p.starved_at_interval - sum(at_interval.values())
    more = sum(share * (getattr(grease, state) - made[state]) for state, share in at_interval.items())
    made["starved"] = grease.starved + more / p.starved_at_interval
    risen = (context["days"] - hold.fresh_days) / (hold.full_days - hold.fresh_days)
    made["overfilled"] = hold.overfilled_fresh + min(max(risen, 0.0), 1.0) * (hold.overfilled - hold.overfilled_fresh)
    return made


def costs(odds: Sequence[float], hold: Mapping[str, float], policy: Policy) -> dict[str, float]:
    """Expected cost of each action."""
    tables = {"hold": hold}
    for action in ("grease", "inspect"):
        tables[action] = {state: getattr(getattr(policy.cost, action), state) for state in STATES}
    return {a: sum(p * tables[a][state] for p, state in zip(odds, STATES, strict=True)) for a in ACTIONS}


def cheapest(cost: Mapping[str, float], allowed: Sequence[str]) -> str:
    """Cheapest allowed action; equal to the last few digits goes to grease, then hold."""
    best = ""
    for action in ACTIONS:
        if action in allowed and (not best or cost[action] < cost[best] * (1.0 - 1e-12)):
            best = action
    return best


def values_of(row: Sequence[float]) -> dict[str, float]:
    """Values by source of one row of an array [sources]; what says nothing is left out."""
    return {source: float(row[POSITION[source]]) for source in SOURCES if not isnan(row[POSITION[source]])}


def _rounded(bits: float) -> float:
    return floor(bits * BIT + 0.5) / BIT
