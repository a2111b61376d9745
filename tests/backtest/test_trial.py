from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from condlube.backtest.replay import Span
from condlube.backtest.trial import Facts
from condlube.errors import InvalidArgument
from condlube.schema.words import ACTIONS


@pytest.fixture(scope="module")
def decisions(small, policy, replayed):
    span = Span.of(date(2023, 3, 20), date(2023, 5, 20), small[0], run_hour=6, every=20)
    return span, replayed(*small, span, policy)


def _bolder(policy):
    """Inspections at a third of the price and a steeper ultrasound curve."""
    ultrasound = policy.weights.ultrasound
    steeper = replace(ultrasound, starved=tuple(1.5 * b for b in ultrasound.starved))
    inspect = replace(policy.cost.inspect, adequate=1.2)
    return replace(
        policy, weights=replace(policy.weights, ultrasound=steeper), cost=replace(policy.cost, inspect=inspect)
    )


def test_a_trial_of_the_same_policy_gives_the_same_costs(decisions, small, policy):
    _, made = decisions
    facts = Facts(made, small[0].bearings.set_index("bearing_id")["criticality"], policy)
    cost, call = facts.costs(policy)
    np.testing.assert_allclose(cost, made[[f"cost_{a}" for a in ACTIONS]].to_numpy(), rtol=1e-12)
    assert np.array(ACTIONS)[call].tolist() == made["call"].to_list()


def test_a_trial_knows_what_an_inspection_without_finding_leaves_of_the_supplys_prior(small, policy, replayed):
    """It takes off what had been seen of each fault, from the supply's prior another share than from the others'."""
    plant, held = small
    looked = held.events.drop_duplicates("bearing_id").assign(
        kind="inspection", finding="none", time=pd.Timestamp("2023-04-25T08:00Z"),
        known_at=pd.Timestamp("2023-04-25T14:00Z"),
    )  # fmt: skip
    looked["event_id"] = "looked-" + looked["bearing_id"]
    rows = held.rows.copy()
    risen = rows["point_id"].str.endswith("ultrasound") & (rows["date"] > date(2023, 4, 10))
    rows.loc[risen, "median"] += 9.0
    seen = replace(held, rows=rows, events=pd.concat([held.events, looked], ignore_index=True))
    span = Span.of(date(2023, 4, 20), date(2023, 5, 5), plant, run_hour=6, every=5)
    made = replayed(plant, seen, span, policy)
    facts = Facts(made, plant.bearings.set_index("bearing_id")["criticality"], policy)
    assert ((made["fact_supply"] - made["prior_machine_fault"] / policy.prior.machine_fault).abs() > 1e-6).any()
    np.testing.assert_allclose(facts.costs(policy)[0], made[[f"cost_{a}" for a in ACTIONS]].to_numpy(), rtol=1e-12)


def test_a_trial_equals_a_replay_of_the_tried_policy(decisions, small, policy, replayed):
    span, made = decisions
    bolder = _bolder(policy)
    facts = Facts(made, small[0].bearings.set_index("bearing_id")["criticality"], policy)
    cost, call = facts.costs(bolder)
    wanted = replayed(*small, span, bolder)
    np.testing.assert_allclose(cost, wanted[[f"cost_{a}" for a in ACTIONS]].to_numpy(), rtol=1e-12)
    assert np.array(ACTIONS)[call].tolist() == wanted["call"].to_list()
    assert wanted["call"].to_list() != made["call"].to_list()


@pytest.mark.parametrize(
    ("guard", "changes"),
    [("early_rise", {"over_db": 2.0, "sound_readings": 1}), ("extension_cap", {"x_watched": 1.0, "x_moderate": 1.0})],
)
def test_a_trial_of_guards_equals_a_replay(decisions, small, policy, replayed, guard, changes):
    span, made = decisions
    own = replace(getattr(policy.guard, guard), **changes)
    tried = replace(policy, guard=replace(policy.guard, **{guard: own}))
    facts = Facts(made, small[0].bearings.set_index("bearing_id")["criticality"], policy)
    wanted = replayed(*small, span, tried)
    assert np.array(ACTIONS)[facts.calls(tried)].tolist() == wanted["call"].to_list()
    assert (wanted["guards"] != made["guards"]).any()


def test_what_a_trial_cannot_try(decisions, small, policy):
    facts = Facts(decisions[1], small[0].bearings.set_index("bearing_id")["criticality"], policy)
    other = replace(policy, prior=replace(policy.prior, damaged=0.01))
    with pytest.raises(InvalidArgument, match=r"prior\.damaged"):
        facts.calls(other)


def test_a_trial_looks_into_acceleration_alone_as_a_replay_does(small, policy, replayed):
    """The small plant with accelerometers in place of its ultrasound: the same dB, and nothing beside them."""
    plant, held = small
    told = plant.points["quantity"].replace({"ultrasound": "acceleration"})
    plant = plant._replace(points=plant.points.assign(quantity=told))
    rows = held.rows.copy()
    of = rows["point_id"].str.endswith("ultrasound")
    for column in ("median", "last_value"):
        rows.loc[of, column] = 10 ** (rows.loc[of, column] / 20 - 2)
    rows.loc[of, "spread"] *= rows.loc[of, "median"] / 8.7
    span = Span.of(date(2023, 4, 20), date(2023, 5, 20), plant, run_hour=6, every=5)
    made = replayed(plant, replace(held, rows=rows), span, policy)
    looked = made["guards"].str.contains("not_dryness") & (made["p_starved"] > 2.0 * made["p_damaged"])
    assert (looked & (made["value_acceleration"] >= 3.0) & (made["x"] < 1.0)).any()
    facts = Facts(made, plant.bearings.set_index("bearing_id")["criticality"], policy)
    assert np.array(ACTIONS)[facts.calls(policy)].tolist() == made["call"].to_list()
