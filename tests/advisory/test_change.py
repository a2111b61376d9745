"""What would change a call: computed, nearest, and true when the change is made."""

import pandas as pd
import pytest

from condlube.advisory.change import changes, reckon
from condlube.explain.sentences import sentence

SCENES = {
    "quiet": {"x": 0.4, "days": 100, "ultrasound": 0, "acceleration": 0, "velocity": 1.0, "temperature": 0},
    "early": {"x": 0.35, "days": 70, "ultrasound": 9, "onset": "gradual", "velocity": 1.0, "temperature": 2},
    "came back": {"x": 0.03, "days": 5, "ultrasound": 9, "response": "returned"},
    "damage": {"x": 0.5, "days": 100, "ultrasound": 18, "acceleration": 12, "velocity": 1.8, "temperature": 6},
    "collector": {"x": 0.5, "days": 100, "ultrasound": 9, "onset": "abrupt", "collector_share": 0.9},
    "acceleration alone": {"x": 0.8, "days": 160, "acceleration": 6.0, "onset": "gradual", "velocity": 1.0},
    "small but fast": {"x": 0.3, "days": 60, "acceleration": 2.2, "growth": 6},
    "due, one sensor": {"x": 1.2, "days": 200, "temperature": 12},
    "nothing measured": {"x": 0.9, "days": 200},
}


def rows(evidence):
    return evidence.astype(object).where(evidence.notna(), None).to_dict("records")


@pytest.mark.parametrize("name", SCENES)
def test_the_stored_rows_give_the_stored_call_again(name, scene, policy):
    decision, evidence = scene(**SCENES[name])
    assert reckon(decision, rows(evidence), policy) == decision["call"]


@pytest.mark.parametrize("name", SCENES)
def test_each_change_turns_the_call_and_a_little_less_does_not(name, scene, policy):
    decision, evidence = scene(**SCENES[name])
    found = changes(decision, rows(evidence), policy)
    for change in found:
        assert change.call != decision["call"]
        turned, before = ([dict(row) for row in rows(evidence)] for _ in range(2))
        neutral = 1.0 if change.source in ("velocity", "impulsiveness") else 0.0
        now = neutral if change.now is None else change.now
        for table, value in ((turned, change.then), (before, change.then - 1e-3 * (1 if change.then > now else -1))):
            for row in table:
                if row["source"] == change.source:
                    row["deviation"], row["status"] = value, "assessed"
        guards = decision["guards"]
        if change.source in ("ultrasound", "acceleration"):
            levels = [r["deviation"] for r in turned if r["source"] in ("ultrasound", "acceleration")]
            raised = max(level for level in levels if level is not None) >= 8
            guards = "early_rise" if raised else guards.replace("early_rise", "")
        assert reckon({**decision, "guards": guards}, turned, policy) == change.call
        if not change.word and change.source not in ("ultrasound", "acceleration"):
            assert reckon(decision, before, policy) == decision["call"]


def test_a_quiet_hold_names_its_nearest_changes(scene, policy):
    """x = 0.40, all quiet. The ultrasound that turns it lies between +5 dB, where other curves flip later, and the
    8 dB of the guard; velocity near twice the expected is the unbalance case of the design's table."""
    decision, evidence = scene(**SCENES["quiet"])
    found = {change.source: change for change in changes(decision, rows(evidence), policy)}
    assert 5 < found["ultrasound"].then <= 8
    assert found["velocity"].call == "inspect"
    assert 1.4 < found["velocity"].then < 2.0
    assert "impulsiveness" not in found  # not measured


def test_a_collector_step_is_inspected_however_many_points_moved(scene, policy):
    """An abrupt 9 dB is looked at either way: as the instrument, or as damage."""
    decision, evidence = scene(**SCENES["collector"])
    found = {change.source: change for change in changes(decision, rows(evidence), policy)}
    assert "collector_share" not in found
    assert found["ultrasound"].call == "hold"
    assert found["ultrasound"].then < 8


def test_a_sealed_bearing_past_its_grease_life_is_turned_by_what_speaks_for_a_fault(scene, policy):
    """Held for its replacement while quiet: a level that adds up to a bit for any fault ends that."""
    told = {"x": 1.9, "days": 400, "bearing": {"designation": "6313-2RS1"}, "temperature": 0}
    decision, evidence = scene(**told)
    assert decision["reason"] == "replacement_window"
    found = {change.source: change for change in changes(decision, rows(evidence), policy)}
    assert found["temperature"].call == "inspect"
    warmer, _ = scene(**told | {"temperature": found["temperature"].then + 0.1})
    assert warmer["call"] == "inspect"
    cooler, _ = scene(**told | {"temperature": found["temperature"].then - 0.1})
    assert cooler["call"] == "hold"


def test_nothing_measured_has_nothing_to_change(scene, policy):
    decision, evidence = scene(**SCENES["nothing measured"])
    assert changes(decision, rows(evidence), policy) == []


@pytest.mark.parametrize(
    ("told", "turn"),
    [
        ({"x": 0.03, "days": 3, "ultrasound": 0, "temperature": 6}, 5.0),  # 5 K over the level before the greasing
        ({"x": 0.5, "days": 100, "ultrasound": 0, "temperature": {"value": 13, "nights_over": 9}}, 12.0),
    ],
)
def test_a_temperature_that_settles_ends_the_guard_that_asked_for_a_look(told, turn, scene, policy):
    """[guard.unsettled]: over_before_k 5, unexplained_k 12."""
    decision, evidence = scene(**told)
    assert decision["basis"] == "unsettled"
    found = {change.source: change for change in changes(decision, rows(evidence), policy)}
    assert found["temperature"].call == "hold"
    assert found["temperature"].then == pytest.approx(turn, abs=0.05)
    value = told["temperature"]
    for there, call in ((turn - 0.1, "hold"), (turn + 0.1, "inspect")):
        again, _ = scene(**told | {"temperature": value | {"value": there} if isinstance(value, dict) else there})
        assert again["call"] == call


def test_another_signal_that_rises_explains_a_warm_bearing(scene, policy):
    told = {"x": 0.5, "days": 100, "velocity": 1.0, "temperature": {"value": 13, "nights_over": 9}}
    decision, evidence = scene(**told)
    found = {change.source: change for change in changes(decision, rows(evidence), policy)}
    assert found["velocity"].call == "hold"
    again, _ = scene(**told | {"velocity": found["velocity"].then + 0.01})
    assert again["call"] == "hold"


def test_a_settling_temperature_is_told_against_its_level_before(scene, policy):
    """8 K over expected, 2 K of it before the greasing: a row of no bits, which adds up with the others."""
    told = {"x": 0.03, "days": 3, "ultrasound": 0, "temperature": {"value": 8, "before_greasing": 2}}
    decision, evidence = scene(**told)
    row = evidence[evidence["source"] == "settling"].iloc[0]
    assert (row["deviation"], row["observed"], row["expected"]) == (6.0, 63.0, 57.0)
    assert row[[c for c in evidence if c.startswith("bits_")]].abs().max() == 0
    assert "temperature 6 K over its level before the greasing" in sentence(decision, rows(evidence))
    assert reckon(decision, rows(evidence), policy) == "inspect"


def test_a_rise_that_nothing_explains_falls_due_when_it_has_stood_a_week(scene):
    """13 K for 3 nights: 7 nights in 4 days."""
    decision, _ = scene(x=0.3, days=60, ultrasound=0, temperature={"value": 13, "nights_over": 3})
    assert decision["call"] == "hold"
    assert (decision["due_date"] - pd.Timestamp("2025-06-01")).days == 4
