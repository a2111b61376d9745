"""Tuning of a site on disk from end to end: a proposed policy file that the site can adopt."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest
from fleet_site import write_fleet_site

from condlube.operations.backtest import backtest, policy_at
from condlube.operations.check import check
from condlube.operations.tune import tune
from condlube.policy.diff import differences
from condlube.simulation.fleet import simulate_fleet

SPAN = (date(2023, 2, 1), date(2023, 12, 30))
EVERY = 7


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Forty bearings over a year, half of which spall."""
    rng = np.random.default_rng(2)
    fleet = simulate_fleet(rng, 40, 1.0, spalling_per_year=0.5, unbalance_per_year=0.4)
    return write_fleet_site(tmp_path_factory.mktemp("fleet") / "site", fleet)


@pytest.fixture(scope="module")
def made(site):
    return tune(site, *SPAN, every=EVERY)


def test_the_proposal_is_a_policy_with_its_reason_and_figures(site, made):
    assert made.proposed is not None
    proposed = policy_at(made.proposed)
    assert proposed.policy.author == "condlube tune"
    assert proposed.policy.version.endswith("-proposed")
    for said in ("damaged", "bearings held out", "log loss", "cost per bearing-year", "2023-02-01"):
        assert said in proposed.policy.reason
    keys = {d.key for d in differences(check(site).policy, proposed)}
    assert {key.split(".")[0] for key in keys} <= {"policy", "weights", "guard"}
    assert differences(made.proposal.policy, proposed) == [
        d for d in differences(made.proposal.policy, proposed) if d.key.startswith("policy.")
    ]


def test_what_is_said_beside_it(made):
    said = json.loads(made.json())
    assert said["moved"] == made.proposal.moved
    assert set(said["scores"]) == {"in force", "tuned", "held out"}
    assert set(said["costs_more"]) == {"in force", "time only", "fixed alarms", "never inspecting"}
    assert [point["factor"] for point in said["trade_off"]] == [0.25, 0.5, 1.0, 2.0, 4.0]
    text = made.text(80)
    for turned in said["turned"]:
        assert f"{turned['bearing_id']}: {turned['before']} -> {turned['after']}" in text
    assert "holds once the definition names it" in " ".join(text.split())


def test_nothing_uses_it_until_the_definition_names_it(site, made):
    in_force = check(site).policy
    assert in_force.digest == made.proposal.found.base.digest
    (site / "policies").mkdir(exist_ok=True)
    (site / "policies" / "2024.toml").write_bytes(made.proposed.read_bytes())
    definition = site / "nightly.toml"
    before = definition.read_text()
    definition.write_text(before.replace("[files]", '[files]\npolicy = "policies/2024.toml"'))
    try:
        assert check(site).policy.weights == made.proposal.policy.weights
        replayed = backtest(site, *SPAN, every=EVERY)
    finally:
        definition.write_text(before)
    tuned, found = made.proposal.tuned["cost"], replayed.judged.scores["policy"]["cost"]
    looked_at = replayed.judged.record.inspections
    as_tried = np.ones(len(found.above), dtype=bool)  # a trial leaves what an inspection without finding had seen
    as_tried[looked_at.loc[looked_at["finding"] == "", "which"]] = False
    assert as_tried.sum() > len(as_tried) / 2
    np.testing.assert_allclose(found.above[as_tried], tuned.above[as_tried], rtol=1e-9)
    assert found.interval.value == pytest.approx(tuned.interval.value, rel=0.02)
