"""The flip points that the decision rule was laid out for (project design, section 7), before guards.

x at which the cheapest action changes, long after the last greasing, to 0.005; found by bisection through the priors,
weights, odds and costs of the default policy. Common practice stands behind the order of the numbers, the project's
design behind their third digit.
"""

import numpy as np
import pytest

from condlube.advisory.cost import cheapest, expected_costs
from condlube.assessment import kernel
from condlube.assessment.posterior import posterior
from condlube.assessment.priors import priors
from condlube.assessment.sources import tables
from condlube.schema.words import ACTIONS

QUIET_OTHERS = {"velocity": 1.0, "temperature": 0.0}
FLIPS = {
    "no condition data": ({}, {}, [(1.000, "hold", "grease")]),
    "no condition data, damaged 0.009": ({}, {"damaged": 0.009}, [(1.000, "hold", "grease")]),
    "no condition data, damaged 0.02": ({}, {"damaged": 0.02}, [(1.000, "hold", "grease")]),
    "temperature quiet": ({"temperature": 0.0}, {}, [(1.153, "hold", "grease")]),
    "ultrasound quiet": ({"ultrasound": 0.0}, {}, [(1.535, "hold", "grease")]),
    "three quiet": ({"ultrasound": 0.0, **QUIET_OTHERS}, {}, [(1.750, "hold", "grease")]),
    "four quiet": ({"ultrasound": 0.0, "acceleration": 0.0, **QUIET_OTHERS}, {}, [(2.166, "hold", "grease")]),
    "+3 dB": ({"ultrasound": 3.0}, {}, [(1.153, "hold", "grease")]),
    "+5 dB gradual": ({"ultrasound": 5.0, "onset": "gradual"}, {}, [(0.648, "hold", "grease")]),
    "+8 dB gradual": (
        {"ultrasound": 8.0, "onset": "gradual"}, {}, [(0.172, "inspect", "hold"), (0.280, "hold", "grease")]
    ),
    "+8 dB gradual, others quiet": (
        {"ultrasound": 8.0, "onset": "gradual", **QUIET_OTHERS}, {},
        [(0.107, "inspect", "hold"), (0.312, "hold", "grease")],
    ),
    "+12 dB gradual": ({"ultrasound": 12.0, "onset": "gradual"}, {}, [(1.004, "inspect", "grease")]),
    "+12 dB gradual, others quiet": (
        {"ultrasound": 12.0, "onset": "gradual", **QUIET_OTHERS}, {}, [(0.324, "inspect", "grease")]
    ),
}  # fmt: skip


@pytest.fixture
def calls(policy, context_of, values_of):
    def made(x, evidence, columns):
        context = context_of(x, **columns)
        bits = kernel.weigh_all(values_of(len(context), evidence), tables(policy))
        cost = expected_costs(posterior(priors(context, policy), bits), context, policy)
        return np.array(ACTIONS)[cheapest(cost, np.ones(cost.shape, dtype=bool))]

    return made


@pytest.mark.parametrize("name", FLIPS)
def test_flip_points(name, calls):
    evidence, columns, expected = FLIPS[name]
    x = np.arange(0.0005, 3.5, 0.001)
    found = calls(x, evidence, columns)
    turns = np.flatnonzero(found[1:] != found[:-1])
    assert [(found[k], found[k + 1]) for k in turns] == [(before, after) for _, before, after in expected]
    assert [x[k] + 0.0005 for k in turns] == pytest.approx([at for at, _, _ in expected], abs=0.005)


def test_hold_against_starved_costs_what_the_design_says(policy, context_of):
    from condlube.assessment.rules import costs, rules

    hold = kernel.hold_all(context_of(1.0), rules(policy), costs(policy))
    assert hold[0, 1] == pytest.approx(105.6, abs=0.05)


def test_an_exact_tie_goes_to_grease(calls):
    assert calls([1.0 - 1e-6, 1.0, 1.0 + 1e-6], {}, {}).tolist() == ["hold", "grease", "grease"]


@pytest.mark.parametrize("days", [2.0, 4.0, 6.9])
def test_short_intervals_turn_within_five_percent(days, calls):
    """Interval under a week: x = 1 is reached while the last greasing still shows."""
    x = np.arange(0.9, 1.1, 0.0005)
    hours = x * days * 24
    found = calls(x, {}, {"running_h": hours, "interval_h": days * 24, "days": hours / 24})
    turns = np.flatnonzero(found[1:] != found[:-1])
    assert found[0] == "hold"
    assert found[-1] == "grease"
    assert len(turns) == 1
    assert x[turns[0]] == pytest.approx(1.0, abs=0.05)
