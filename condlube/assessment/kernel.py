"""The assessment and its costs as one compiled loop over bearing-nights.

Every bearing-night is worked on alone, in scalar arithmetic and in a fixed order, with no BLAS and no vector unit of a
maths library: a result is the same to the last digit in any batch and any order. ``plain.py`` is the reference.
"""

from __future__ import annotations

import math

import numpy as np

from condlube.assessment.rules import Rules
from condlube.assessment.sources import FloatArray, IntArray, Tables
from condlube.lubrication.result import BoolArray
from condlube.manipulation.kernel import kernel

BIT = 2.0**20
"""Bits are rounded to multiples of 1/BIT when made, so that sums of them are exact in any order."""

LEAST = 1e-12
"""No prior is smaller: its logarithm is taken."""

(X, X_SINCE, RUNNING_H, INTERVAL_H, DAYS, OVERFILLED_ADDED, STARVED_FACTOR, OVERFILLED_FACTOR, SUPPLY_FACTOR,
 CONTEXT_DAMAGED, CONTEXT_MACHINE, CONTEXT_INSTRUMENT) = range(12)  # fmt: skip
ADEQUATE, STARVED, OVERFILLED, SUPPLY, DAMAGED, MACHINE, INSTRUMENT = range(7)
GREASE, HOLD, INSPECT = range(3)
_ULTRASOUND, _ACCELERATION, _VELOCITY, _GROWTH = 0, 1, 3, 5


@kernel
def failed_share(x: float, rules: Rules) -> float:
    """F(x): share of bearings that have run out of grease life at x of the interval."""
    share: float = 1.0 - (1.0 - rules.starved_at_interval) ** (max(x, 0.0) ** rules.weibull_slope)
    return share


@kernel
def prior_one(context: FloatArray, rules: Rules, prior: FloatArray) -> None:
    """Prior of each state of one bearing-night; ``context`` is a row of ``rules.CONTEXT``."""
    half_life_h = rules.overfilled_half_life_h
    if context[INTERVAL_H] / rules.overfilled_half_lives < half_life_h:
        half_life_h = context[INTERVAL_H] / rules.overfilled_half_lives
    added = context[OVERFILLED_ADDED] * 2.0 ** (-context[RUNNING_H] / half_life_h)
    prior[OVERFILLED] = context[OVERFILLED_FACTOR] * (rules.overfilled + added)
    prior[SUPPLY] = (
        context[SUPPLY_FACTOR] * rules.supply_fault * 2.0 ** (-context[X_SINCE] / rules.supply_fault_half_life_x)
    )
    prior[DAMAGED] = context[CONTEXT_DAMAGED]
    prior[MACHINE] = context[CONTEXT_MACHINE]
    prior[INSTRUMENT] = context[CONTEXT_INSTRUMENT]
    others = 0.0
    for state in range(OVERFILLED, INSTRUMENT + 1):
        prior[state] = max(prior[state], LEAST)
        others += prior[state]
    starved = context[STARVED_FACTOR] * failed_share(context[X], rules)
    prior[STARVED] = max(min(starved, rules.others_max - others), LEAST)
    prior[ADEQUATE] = 1.0 - others - prior[STARVED]


@kernel
def hold_one(context: FloatArray, rules: Rules, costs: FloatArray, hold: FloatArray) -> None:
    """Cost of holding in each state of one bearing-night.

    Overfilled rises after a greasing; starved is solved so that grease and hold cost the same at x = 1 without
    evidence, with the bearing's own priors and an overfilled prior at its base rate.
    """
    for state in range(hold.shape[0]):
        hold[state] = costs[HOLD, state]
    starved = rules.starved_at_interval
    supply = max(context[SUPPLY_FACTOR] * rules.supply_fault_at_interval, LEAST)
    damaged = context[CONTEXT_DAMAGED]
    machine = context[CONTEXT_MACHINE]
    instrument = context[CONTEXT_INSTRUMENT]
    adequate = 1.0 - starved - rules.overfilled - supply - damaged - machine - instrument
    more = adequate * (costs[GREASE, ADEQUATE] - costs[HOLD, ADEQUATE])
    more += rules.overfilled * (costs[GREASE, OVERFILLED] - costs[HOLD, OVERFILLED])
    more += supply * (costs[GREASE, SUPPLY] - costs[HOLD, SUPPLY])
    more += damaged * (costs[GREASE, DAMAGED] - costs[HOLD, DAMAGED])
    more += machine * (costs[GREASE, MACHINE] - costs[HOLD, MACHINE])
    more += instrument * (costs[GREASE, INSTRUMENT] - costs[HOLD, INSTRUMENT])
    hold[STARVED] = costs[GREASE, STARVED] + more / starved
    risen = (context[DAYS] - rules.fresh_days) / (rules.full_days - rules.fresh_days)
    if risen < 1.0:
        hold[OVERFILLED] = rules.overfilled_fresh + max(risen, 0.0) * (costs[HOLD, OVERFILLED] - rules.overfilled_fresh)


@kernel
def curve_one(source: int, value: float, tables: Tables, bits: FloatArray) -> None:
    """Bits of one source against each state by its curve."""
    last = tables.counts[source] - 1
    k = 0
    while k < last and value >= tables.anchors[source, k + 1]:
        k += 1
    share = 0.0
    if k < last and value > tables.anchors[source, k]:
        share = (value - tables.anchors[source, k]) / (tables.anchors[source, k + 1] - tables.anchors[source, k])
    low, high = tables.weights[source, k], tables.weights[source, min(k + 1, last)]
    for state in range(bits.shape[0]):
        bits[state] = math.floor((low[state] + (high[state] - low[state]) * share) * BIT + 0.5) / BIT


@kernel
def weigh_one(values: FloatArray, tables: Tables, bits: FloatArray) -> None:
    """Bits of one bearing-night as counted: curves, no credit for quiet under fast growth, shared information once."""
    fast = values[_GROWTH] > tables.growth_from
    for source in range(values.shape[0]):
        if math.isnan(values[source]):
            bits[source] = 0.0
            continue
        curve_one(source, values[source], tables, bits[source])
        if fast and source <= _VELOCITY:
            for state in range(bits.shape[1]):
                bits[source, state] = max(bits[source, state], 0.0)
    if math.isnan(values[_ULTRASOUND]) or math.isnan(values[_ACCELERATION]):
        return
    for state in range(bits.shape[1]):
        smaller = _ULTRASOUND
        if abs(bits[_ULTRASOUND, state]) >= abs(bits[_ACCELERATION, state]):
            smaller = _ACCELERATION
        bits[smaller, state] = math.floor(bits[smaller, state] * tables.shared_share * BIT + 0.5) / BIT


@kernel
def finish_one(prior: FloatArray, posterior: FloatArray) -> None:
    """Probabilities in place of the odds that ``posterior`` holds from its second state on."""
    whole = prior[0]
    posterior[0] = prior[0]
    for state in range(1, posterior.shape[0]):
        posterior[state] *= prior[state]
        whole += posterior[state]
    for state in range(posterior.shape[0]):
        posterior[state] /= whole


@kernel
def posterior_one(prior: FloatArray, bits: FloatArray, posterior: FloatArray) -> None:
    """Probability of each state from the prior and the bits [sources, states]."""
    posterior[:] = 0.0
    for source in range(bits.shape[0]):
        for state in range(bits.shape[1]):
            posterior[state + 1] += bits[source, state]
    for state in range(1, posterior.shape[0]):
        posterior[state] = 2.0 ** posterior[state]
    finish_one(prior, posterior)


@kernel
def cost_one(posterior: FloatArray, costs: FloatArray, hold: FloatArray, cost: FloatArray) -> None:
    """Expected cost of grease, hold and inspect; the hold row is the bearing's own."""
    for action in range(3):
        total = 0.0
        for state in range(posterior.shape[0]):
            price = hold[state] if action == HOLD else costs[action, state]
            total += posterior[state] * price
        cost[action] = total


@kernel
def prior_all(context: FloatArray, rules: Rules) -> FloatArray:
    """Priors [bearing-nights, states] of contexts [bearing-nights, columns of ``rules.CONTEXT``]."""
    prior = np.empty((context.shape[0], 7))
    for n in range(context.shape[0]):
        prior_one(context[n], rules, prior[n])
    return prior


@kernel
def hold_all(context: FloatArray, rules: Rules, costs: FloatArray) -> FloatArray:
    """Costs of holding [bearing-nights, states]."""
    hold = np.empty((context.shape[0], 7))
    for n in range(context.shape[0]):
        hold_one(context[n], rules, costs, hold[n])
    return hold


@kernel
def weigh_all(values: FloatArray, tables: Tables) -> FloatArray:
    """Bits as counted [bearing-nights, sources, states] of values [bearing-nights, sources]; NaN says nothing."""
    bits = np.empty((values.shape[0], values.shape[1], tables.weights.shape[2]))
    for n in range(values.shape[0]):
        weigh_one(values[n], tables, bits[n])
    return bits


@kernel
def strongest_all(source: IntArray, value: FloatArray, tables: Tables) -> FloatArray:
    """Highest bits that each value of a source has against any state by itself; NaN of NaN."""
    most = np.full(len(value), math.nan)
    bits = np.empty(tables.weights.shape[2])
    for n in range(len(value)):
        if not math.isnan(value[n]):
            curve_one(source[n], value[n], tables, bits)
            most[n] = bits[0]
            for state in range(1, len(bits)):
                most[n] = max(most[n], bits[state])
    return most


@kernel
def prior_bits_all(prior: FloatArray) -> FloatArray:
    """Log2 odds of each state against adequate [bearing-nights, states but the first]."""
    bits = np.empty((prior.shape[0], prior.shape[1] - 1))
    for n in range(prior.shape[0]):
        for state in range(bits.shape[1]):
            bits[n, state] = math.log2(prior[n, state + 1] / prior[n, 0])
    return bits


@kernel
def posterior_all(prior: FloatArray, bits: FloatArray) -> FloatArray:
    """Posterior [bearing-nights, states] of priors [bearing-nights, states] and bits as counted."""
    posterior = np.empty_like(prior)
    for n in range(prior.shape[0]):
        posterior_one(prior[n], bits[n], posterior[n])
    return posterior


@kernel
def weighed_all(prior: FloatArray, values: FloatArray, tables: Tables) -> FloatArray:
    """``posterior_all`` of ``weigh_all`` in one pass, which keeps no bits."""
    bits = np.empty((values.shape[1], tables.weights.shape[2]))
    posterior = np.empty_like(prior)
    for n in range(prior.shape[0]):
        weigh_one(values[n], tables, bits)
        posterior_one(prior[n], bits, posterior[n])
    return posterior


@kernel
def cost_all(posterior: FloatArray, costs: FloatArray, hold: FloatArray) -> FloatArray:
    """Expected costs [bearing-nights, actions]; ``costs`` [actions, states], ``hold`` [bearing-nights, states]."""
    cost = np.empty((posterior.shape[0], 3))
    for n in range(posterior.shape[0]):
        cost_one(posterior[n], costs, hold[n], cost[n])
    return cost


@kernel
def assess_all(
    context: FloatArray, values: FloatArray, tables: Tables, rules: Rules, costs: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Posterior and expected costs of bearing-nights in one pass: prior, weights, odds and costs.

    Keeps neither priors nor bits: for replays and policy trials on cached deviations.
    """
    bits = np.empty((values.shape[1], tables.weights.shape[2]))
    prior = np.empty(7)
    hold = np.empty(7)
    posterior = np.empty((context.shape[0], 7))
    cost = np.empty((context.shape[0], 3))
    for n in range(context.shape[0]):
        prior_one(context[n], rules, prior)
        hold_one(context[n], rules, costs, hold)
        weigh_one(values[n], tables, bits)
        posterior_one(prior, bits, posterior[n])
        cost_one(posterior[n], costs, hold, cost[n])
    return posterior, cost


@kernel
def cheapest_all(cost: FloatArray, allowed: BoolArray) -> IntArray:
    """Cheapest allowed action; equal to the last few digits goes to grease, then hold. -1 where none is allowed."""
    call = np.empty(cost.shape[0], dtype=np.int64)
    for n in range(cost.shape[0]):
        best = -1
        for action in range(3):
            if allowed[n, action] and (best < 0 or cost[n, action] < cost[n, best] * (1.0 - 1e-12)):
                best = action
        call[n] = best
    return call
