"""The kernel against its plain reference, and its independence of batch and order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from condlube.assessment import kernel, plain
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import LEVELS, POSITION, SOURCES, tables
from condlube.schema.words import ACTIONS, STATES

N = 3000


@pytest.fixture(scope="module")
def nights(policy):
    """Random contexts and values: every source, beyond the anchors at either end, absent now and then."""
    rng = np.random.default_rng(7)
    values = np.full((N, len(SOURCES)), np.nan)
    for source, k in POSITION.items():
        low, high = tables(policy).anchors[k, 0], tables(policy).anchors[k, tables(policy).counts[k] - 1]
        margin = 0.2 * (high - low)
        drawn = rng.uniform(low - margin, high + margin, N)
        on_anchor = rng.random(N) < 0.2
        drawn[on_anchor] = rng.choice(tables(policy).anchors[k, : tables(policy).counts[k]], on_anchor.sum())
        values[:, k] = np.where(rng.random(N) < (0.7 if source in LEVELS else 0.2), drawn, np.nan)
    x = rng.choice([0.0, 0.003, 0.1, 0.5, 0.999, 1.0, 1.3, 2.6, 30.0], N) * rng.uniform(0.9, 1.1, N)
    columns = {
        "x": x,
        "x_since": x,
        "running_h": x * 4000,
        "interval_h": rng.choice([30.0, 4000.0, np.inf], N),
        "days": x * 4000 / 24,
        "overfilled_added": rng.choice([0.02, 0.25], N),
        "starved_factor": rng.choice([1.0, 2.0], N),
        "overfilled_factor": rng.choice([1.0, 0.05], N),
        "supply_factor": rng.choice([1.0, 0.1], N),
        "damaged": rng.choice([0.003, 0.02], N),
        "machine_fault": np.full(N, 0.008),
        "instrument_fault": rng.choice([0.005, 0.02], N),
    }
    return np.stack([columns[name] for name in CONTEXT], axis=1), values


def assess(nights, policy):
    context, values = nights
    return kernel.assess_all(context, values, tables(policy), rules(policy), costs(policy))


def test_constants_follow_the_vocabularies():
    assert CONTEXT.index("instrument_fault") == kernel.CONTEXT_INSTRUMENT
    assert [STATES[k] for k in (kernel.ADEQUATE, kernel.STARVED, kernel.DAMAGED)] == ["adequate", "starved", "damaged"]
    assert ACTIONS[kernel.GREASE] == "grease"
    assert SOURCES[:4] == ("ultrasound", "acceleration", "impulsiveness", "velocity")
    assert SOURCES[5] == "growth"


def test_kernel_equals_the_plain_reference(nights, policy):
    posterior, cost = assess(nights, policy)
    bits = kernel.weigh_all(nights[1], tables(policy))
    for n in range(N):
        context = dict(zip(CONTEXT, nights[0][n], strict=True))
        values = plain.values_of(nights[1][n])
        weighed = plain.weigh(values, policy)
        for source, expected in weighed.items():
            assert bits[n, POSITION[source]].tolist() == expected
        odds = plain.posterior(plain.priors(context, policy), weighed)
        assert posterior[n] == pytest.approx(odds, rel=1e-12, abs=1e-300)
        expected = plain.costs(odds, plain.hold_costs(context, policy), policy)
        assert cost[n] == pytest.approx([expected[a] for a in ACTIONS], rel=1e-12)


def test_one_pass_equals_the_single_steps(nights, policy):
    context, values = nights
    posterior, cost = assess(nights, policy)
    prior = kernel.prior_all(context, rules(policy))
    stepwise = kernel.posterior_all(prior, kernel.weigh_all(values, tables(policy)))
    assert np.array_equal(stepwise, posterior)
    assert np.array_equal(kernel.weighed_all(prior, values, tables(policy)), posterior)
    hold = kernel.hold_all(context, rules(policy), costs(policy))
    assert np.array_equal(kernel.cost_all(stepwise, costs(policy), hold), cost)


@given(st.integers(1, N), st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_equal_to_the_last_digit_in_any_batch_and_order(nights, policy, size, seed):
    posterior, cost = assess(nights, policy)
    order = np.random.default_rng(seed).permutation(N)
    for part in np.array_split(order, range(size, N, max(size, 100))):
        own = assess((nights[0][part], nights[1][part]), policy)
        assert np.array_equal(own[0], posterior[part])
        assert np.array_equal(own[1], cost[part])


def test_bits_are_multiples_that_add_up_exactly(nights, policy):
    bits = kernel.weigh_all(nights[1], tables(policy))
    assert np.array_equal(bits * kernel.BIT, np.round(bits * kernel.BIT))
    forwards, backwards = bits.sum(axis=1), bits[:, ::-1].sum(axis=1)
    assert np.array_equal(forwards, backwards)


def test_nothing_to_weigh_leaves_the_prior(policy, context_of):
    context = context_of([0.2, 1.0, 2.0])
    posterior, _ = assess((context, np.full((3, len(SOURCES)), np.nan)), policy)
    assert posterior == pytest.approx(kernel.prior_all(context, rules(policy)), rel=1e-12)


@pytest.mark.parametrize("n", [0, 1])
def test_no_and_one_bearing(n, policy, context_of):
    posterior, cost = assess((context_of(np.full(n, 0.5)), np.full((n, len(SOURCES)), np.nan)), policy)
    assert posterior.shape == (n, 7)
    assert cost.shape == (n, 3)
