"""The assessment of days to come as a compiled loop: grease life goes on, and levels that rise."""

from __future__ import annotations

import numpy as np

from condlube.assessment.kernel import (
    DAYS,
    RUNNING_H,
    X_SINCE,
    X,
    cost_one,
    finish_one,
    hold_one,
    posterior_one,
    prior_one,
    weigh_one,
)
from condlube.assessment.rules import Rules
from condlube.assessment.sources import FloatArray, IntArray, Tables
from condlube.lubrication.result import BoolArray
from condlube.manipulation.kernel import kernel


@kernel
def odds_all(totals: FloatArray) -> FloatArray:
    """Odds [bearing-nights, states but the first] of summed bits, the same that ``posterior_one`` multiplies by."""
    odds = np.empty_like(totals)
    for n in range(totals.shape[0]):
        for state in range(totals.shape[1]):
            odds[n, state] = 2.0 ** totals[n, state]
    return odds


@kernel
def ahead_all(
    context: FloatArray, values: FloatArray, odds: FloatArray, slope_per_d: FloatArray, rising: BoolArray, at: IntArray,
    days: FloatArray, used: FloatArray, ran_h: FloatArray, tables: Tables, rules: Rules, costs: FloatArray,
) -> FloatArray:  # fmt: skip
    """Expected costs of bearing-nights ``at`` so many ``days`` on, with so much of the interval ``used`` and so many
    hours run until then.

    The first values go on by ``slope_per_d`` where any is ``rising``; elsewhere the evidence stays as it was weighed,
    ``odds``.
    """
    bits = np.empty((values.shape[1], tables.weights.shape[2]))
    then = np.empty(context.shape[1])
    later = np.empty(values.shape[1])
    prior = np.empty(7)
    hold = np.empty(7)
    posterior = np.empty(7)
    cost = np.empty((len(at), 3))
    for n in range(len(at)):
        row = at[n]
        then[:] = context[row]
        then[X] += used[n]
        then[X_SINCE] += used[n]
        then[RUNNING_H] += ran_h[n]
        then[DAYS] += days[n]
        prior_one(then, rules, prior)
        hold_one(then, rules, costs, hold)
        if rising[row]:
            later[:] = values[row]
            for source in range(slope_per_d.shape[1]):
                later[source] += slope_per_d[row, source] * days[n]
            weigh_one(later, tables, bits)
            posterior_one(prior, bits, posterior)
        else:
            posterior[1:] = odds[row]
            finish_one(prior, posterior)
        cost_one(posterior, costs, hold, cost[n])
    return cost
