"""Fits to nights made by known weights: they are found again, noise moves nothing, one sensor twice counts once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from condlube.assessment import kernel
from condlube.assessment.sources import OTHERS, POSITION, SOURCES, tables
from condlube.backtest.fit import FITTED, Column, Nights, among, bits_of, columns_of, design, fit, log_loss
from condlube.backtest.propose import headed, text_of, with_weights
from condlube.backtest.search import positions, stretched
from condlube.backtest.tuning import Tuned, frequency, tune_nights
from condlube.policy.parse import parse_policy

MOVED = ("starved", "damaged")
PRIOR = np.log2(np.array([0.15, 0.005, 0.01, 0.1, 0.01, 0.005]) / 0.72)


def nights(rng, count, policy, acceleration=None, bearings=60) -> Nights:
    """Nights whose states follow the posterior of ``policy``: the model of the fit, with known weights."""
    values = np.full((count, len(SOURCES)), np.nan)
    values[:, POSITION["ultrasound"]] = rng.uniform(-4, 18, count)
    values[:, POSITION["velocity"]] = rng.uniform(0.6, 4, count)
    values[:, POSITION["temperature"]] = rng.uniform(-5, 20, count)
    odds = np.tile(np.exp2(np.r_[0.0, PRIOR]), (count, 1))
    odds = kernel.posterior_all(odds / odds.sum(axis=1)[:, None], kernel.weigh_all(values, tables(policy)))
    state = (rng.random((count, 1)) > odds.cumsum(axis=1)).sum(axis=1)
    known = np.isin(state, [0, *(1 + OTHERS.index(s) for s in MOVED)])
    if acceleration is not None:
        values[:, POSITION["acceleration"]] = acceleration(values[:, POSITION["ultrasound"]])
    group = np.sort(rng.integers(0, bearings, count))
    made = Nights(among(np.tile(PRIOR, (count, 1)), MOVED), values, state, np.ones(count), group)
    return made.take(np.flatnonzero(known))


def shifted(rng, policy, sd=1.0):
    """The policy with other bits of two states for ultrasound and velocity, the order of anchors kept."""
    weights = policy.weights
    for source in ("ultrasound", "velocity"):
        curve = getattr(weights, source)
        moved = {}
        for state in MOVED:
            steps = np.diff(getattr(curve, state), prepend=0.0)
            moved[state] = tuple(np.cumsum(steps * rng.uniform(0.4, 1.6, len(steps))) + rng.normal(0, 0.3 * sd))
        weights = replace(weights, **{source: replace(curve, **moved)})
    return replace(policy, weights=weights)


def test_the_design_times_the_bits_is_what_the_kernel_weighs(policy):
    rng = np.random.default_rng(1)
    values = np.full((500, len(SOURCES)), np.nan)
    for source, low, high in (("ultrasound", -15, 40), ("acceleration", -15, 30), ("velocity", 0.2, 6),
                              ("temperature", -25, 50), ("impulsiveness", 0.5, 4), ("growth", 0, 11)):  # fmt: skip
        there = rng.random(500) < 0.7
        values[there, POSITION[source]] = rng.uniform(low, high, int(there.sum()))
    for source, classes in (("onset", 2), ("response", 4), ("zone", 4)):
        values[:, POSITION[source]] = rng.integers(0, classes, 500)
    weighed = kernel.weigh_all(values, tables(policy)).sum(axis=1)
    made = np.einsum("snk,sk->ns", design(values, policy), bits_of(policy, columns_of(policy)))
    np.testing.assert_allclose(made, weighed, atol=len(SOURCES) * 2.0**-20)


def test_known_weights_are_found_within_their_intervals(policy):
    rng = np.random.default_rng(2)
    truth = shifted(rng, policy)
    found = fit(nights(rng, 6000, truth), policy, MOVED, sd_bits=1.0)
    wanted = bits_of(truth, found.columns)[[OTHERS.index(s) for s in MOVED]]
    z = (found.bits - wanted) / found.standard_error
    near = np.array([c.source in ("ultrasound", "velocity", "temperature") for c in found.columns])
    assert np.mean(np.abs(z[:, near]) < 1.645) >= 0.85  # 90 % intervals; the order of anchors only narrows them
    assert np.abs(z[:, near]).max() < 4
    told = nights(np.random.default_rng(3), 4000, truth)
    assert log_loss(told, with_weights(policy, found)).mean() < log_loss(told, policy).mean()


def test_the_order_of_anchors_is_kept(policy):
    rng = np.random.default_rng(4)
    made = with_weights(policy, fit(nights(rng, 400, shifted(rng, policy)), policy, MOVED, sd_bits=2.0))
    for source in ("ultrasound", "velocity", "temperature", "acceleration"):
        for state in MOVED:
            before, after = (np.diff(getattr(getattr(p.weights, source), state)) for p in (policy, made))
            assert (after[before > 0] >= -0.0101).all()  # a hundredth: bits are rounded
            assert (after[before < 0] <= 0.0101).all()


def test_without_a_pull_and_an_order_it_is_plain_logistic_regression(policy):
    rng = np.random.default_rng(5)
    flat = replace(policy.weights.ultrasound, at=(0.0, 10.0), **dict.fromkeys(OTHERS, (0.0, 0.0)))
    level = replace(policy, weights=replace(policy.weights, ultrasound=flat))
    values = np.full((800, len(SOURCES)), np.nan)
    values[:, POSITION["ultrasound"]] = rng.uniform(0, 10, 800)
    truth = rng.random(800) < 1 / (1 + np.exp(1 - 0.4 * values[:, POSITION["ultrasound"]]))
    bits = among(np.zeros((800, len(OTHERS))), ("damaged",))
    state = np.where(truth, 1 + OTHERS.index("damaged"), 0)
    found = fit(Nights(bits, values, state, np.ones(800), np.arange(800)), level, ("damaged",), sd_bits=1e3)
    low, high = (found.bits[0, found.columns.index(Column("ultrasound", k))] * np.log(2) for k in (0, 1))
    theirs = LogisticRegression(C=np.inf, tol=1e-10, max_iter=1000).fit(values[:, [POSITION["ultrasound"]]], truth)
    assert low == pytest.approx(theirs.intercept_[0], abs=2e-3)
    assert (high - low) / 10 == pytest.approx(theirs.coef_[0, 0], abs=2e-3)


def test_a_sensor_mounted_twice_counts_once(policy):
    """Acceleration that only repeats the ultrasound: fitted to both, the policy is as good as fitted to one."""
    rng = np.random.default_rng(6)
    twice = nights(rng, 6000, policy, lambda db: db)
    tuned = with_weights(policy, fit(twice, policy, MOVED, sd_bits=1.0))
    tuned_to_one = with_weights(policy, fit(alone(twice), policy, MOVED, sd_bits=1.0))
    told = nights(rng, 6000, policy, lambda db: db)
    assert log_loss(told, policy).mean() > log_loss(alone(told), policy).mean() + 0.01  # as it stands, twice counts
    assert log_loss(told, tuned).mean() < log_loss(alone(told), tuned_to_one).mean() + 0.002


def alone(told: Nights) -> Nights:
    """The same nights without the acceleration."""
    made = told._replace(values=told.values.copy())
    made.values[:, POSITION["acceleration"]] = np.nan
    return made


def blank(policy) -> Tuned:
    return Tuned(policy, {}, MOVED, "", policy, None, None, None, None, {}, ())


def test_no_signal_moves_nothing(policy):
    """States as the policy in force has them: there is nothing to be gained, and nothing moves."""
    rng = np.random.default_rng(7)
    told = nights(rng, 800, policy)
    day = rng.integers(0, 900, len(told.state))
    made = tune_nights(blank(policy), told, day, policy, rng)
    assert made.policy is policy
    assert "not surely better" in made.why_not


def test_a_state_more_frequent_than_its_prior_is_told():
    """Eight nights in a hundred damaged, where the prior says one."""
    bits = among(np.full((100, len(OTHERS)), np.log2(0.01 / 0.99)), ("damaged",))
    state = np.where(np.arange(100) < 8, 1 + OTHERS.index("damaged"), 0)
    told = Nights(bits, np.full((100, len(SOURCES)), np.nan), state, np.ones(100), np.arange(100))
    assert frequency(told, ("damaged",)) == {"damaged": pytest.approx(8.0)}


def test_a_signal_moves_the_policy_and_says_how_sure(policy):
    rng = np.random.default_rng(8)
    told = nights(rng, 1500, shifted(rng, policy, sd=4.0))
    made = tune_nights(blank(policy), told, rng.integers(0, 900, len(told.state)), policy, rng)
    assert made.why_not == ""
    assert made.by_bearing is not None
    assert made.by_bearing.gain.low > 0
    assert made.by_time is not None
    assert {c.source for c in made.fit.columns} == set(FITTED)


def test_anchors_are_found_where_they_stand(policy):
    """Nights by a policy whose ultrasound anchors stand at 0.8 of their places; what is not on record stays."""
    told = [nights(np.random.default_rng(seed), 3000, stretched(policy, {"ultrasound": 0.8})) for seed in (11, 12)]
    assert positions([(part, policy) for part in told], MOVED)["ultrasound"] == 0.8
    assert "velocity" not in positions([(part, policy) for part in told], MOVED)
    assert positions([(part, policy) for part in told], ("damaged",)).keys() <= {"impulsiveness"}


def test_anchors_stay_where_nothing_says_otherwise(policy):
    told = [nights(np.random.default_rng(seed), 3000, policy) for seed in (13, 14)]
    assert positions([(part, policy) for part in told], MOVED) == {}


def test_the_proposal_reads_back_as_itself(policy):
    rng = np.random.default_rng(9)
    text = policy.text
    made = with_weights(policy, fit(nights(rng, 300, policy), policy, MOVED, sd_bits=1.0))
    made = headed(made, "condlube tune", 'fitted to "nothing" but noise')
    written = text_of(made, policy)
    assert written.startswith('base = "default"')
    assert "[cost" not in written
    assert parse_policy(written, "proposed.toml", text) == made
