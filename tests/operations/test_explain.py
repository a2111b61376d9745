"""One decision explained: what is printed is what was stored, and it adds up."""

import json
import re
from math import log2

import pytest

from condlube.errors import CondlubeError, ConfigurationError
from condlube.explain.interval import NO_INTERVAL, interval_lines
from condlube.operations.definition import default_policy
from condlube.operations.desk import Desk
from condlube.operations.explain import explain
from condlube.operations.tasks import work
from condlube.operations.worklist import worklist
from condlube.policy.parse import parse_policy
from condlube.schema.words import STATES


@pytest.fixture(scope="module")
def dry(small_site):
    folder, _ = small_site
    return explain(folder, "M1-DE")


def test_the_call_comes_first_and_every_section_follows(dry):
    text = dry.text(100)
    assert text.splitlines()[3].startswith(("Grease ", "Inspect the "))
    heads = [
        "Evidence, in bits",
        "Interval",
        "What would change the call",
        "What to do",
        "Cautions",
        "Register defaults",
    ]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_wider_than_the_terminal(dry, width):
    assert max(map(len, dry.text(width).splitlines())) <= width


def test_the_running_sum_ends_at_the_odds_that_were_stored(dry):
    told = json.loads(dry.json())
    decision = told["decision"]
    odds = {state: log2(decision[f"p_{state}"] / decision["p_adequate"]) for state in STATES[1:]}
    for state, expected in odds.items():
        assert sum(row[f"bits_{state}"] for row in told["evidence"]) == pytest.approx(expected, abs=1e-9)
    (last,) = [line for line in dry.text(120).splitlines() if line.startswith("log2 odds")]
    printed = re.findall(r"[+-]\d+\.\d\d", last)
    assert len(printed) == 2
    assert set(printed) <= {f"{value:+.2f}" for value in odds.values()}


def test_a_greasing_without_effect_is_told_beside_the_share_used_up(small_site):
    told = json.loads(explain(small_site[0], "M1-DE").json())
    plain = {"manual_interval_h": None, "seal": "sealed", "manual_interval_basis": None}
    decision = told["decision"] | {"last_greased": None}
    without = [{"source": "response", "reason": "none", "status": "assessed"}]
    assert "had no effect" in " ".join(interval_lines(plain, decision, without))
    assert "had no effect" not in " ".join(interval_lines(plain, decision, [without[0] | {"reason": "held"}]))


def test_a_policy_that_this_version_cannot_read_is_told_and_the_night_stands(small_site, monkeypatch):
    def unreadable(text, source, *rest):
        raise ConfigurationError([])

    plain = explain(small_site[0], "M1-DE")
    monkeypatch.setattr("condlube.operations.desk.parse_policy", unreadable)
    other = parse_policy(re.sub("author = .*", 'author = "A. Okafor"', default_policy()), "in force")
    monkeypatch.setattr("condlube.operations.desk.read_policy", lambda definition: other)
    told = explain(small_site[0], "M1-DE")
    assert "cannot read any more" in told.text(100)
    assert "cannot read any more" not in plain.text(100)
    assert told.decision == plain.decision
    assert f"Policy {told.run['policy_digest'][:12]}" in " ".join(told.text(100).split())


@pytest.mark.parametrize("reason", ["no_start", "conditions_outside_range", "speed_beyond_formula", "load_too_high"])
def test_why_there_is_no_interval_is_told_in_words(small_site, reason):
    told = json.loads(explain(small_site[0], "M1-DE").json())
    plain = {"manual_interval_h": None, "seal": "sealed", "manual_interval_basis": None}
    (line,) = interval_lines(plain, told["decision"] | {"interval_h": None, "interval_method": reason}, [])
    assert line == f"No interval: {NO_INTERVAL[reason]}."
    assert "_" not in line


@pytest.mark.parametrize(("supply", "grams"), [("hand", 32.5), ("single_point_lubricator", None)])
def test_no_dose_by_hand_beside_an_automatic_supply(small_site, supply, grams):
    desk = Desk(small_site[0])
    sight = desk.sight()
    bearing = sight.bearings["M1-DE"] | {"supply": supply}
    decision = sight.decisions["M1-DE"] | {"call": "grease", "second_action": "", "look_at": "", "grease_g": 32.5}
    policy = desk.policy(sight.run["policy_digest"])
    (row,) = work({"M1-DE": decision}, {"M1-DE": []}, {"M1-DE": bearing}, sight.night, 7, policy, {})
    assert row["grease_g"] == grams
    assert (row["strokes"] is None) == (grams is None)


@pytest.mark.parametrize("width", [80, 120])
def test_the_work_list_keeps_to_the_terminal(small_site, width):
    assert max(map(len, worklist(small_site[0]).text(width).splitlines())) <= width


def test_a_bearing_that_is_not_there_is_named(small_site):
    with pytest.raises(CondlubeError, match="M1-DX"):
        explain(small_site[0], "M1-DX")
