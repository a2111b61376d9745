"""Decisions told to people: the table adds up, every line is whole, and advice never goes beyond the evidence."""

import pandas as pd
import pytest

from condlube.advisory.change import changes
from condlube.advisory.job import job
from condlube.explain import readers
from condlube.explain.sentences import sentence
from condlube.explain.table import HEAD, leading, table, text

SCENES = {
    "quiet": {"x": 0.4, "days": 100, "ultrasound": 0, "acceleration": 0, "velocity": 1.0, "temperature": 0},
    "early": {"x": 0.35, "days": 70, "ultrasound": 9, "onset": "gradual", "velocity": 1.0, "temperature": 2},
    "came back": {"x": 0.03, "days": 5, "ultrasound": 9, "response": "returned"},
    "damage": {"x": 0.5, "days": 100, "ultrasound": 18, "acceleration": 12, "velocity": 1.8, "temperature": 6},
    "unbalance": {"x": 1.3, "days": 300, "ultrasound": 4, "onset": "gradual", "velocity": 2.4},
    "collector": {"x": 0.5, "days": 100, "ultrasound": 9, "onset": "abrupt", "collector_share": 0.9},
    "small but fast": {"x": 0.3, "days": 60, "acceleration": 2.2, "growth": 6},
    "fallen": {"x": 0.5, "ultrasound": -15},
    "impulsive": {"x": 0.5, "kurtosis": 2.5, "acceleration": 6},
    "churning": {"x": 0.003, "days": 0.5, "temperature": 12, "ultrasound": -1},
    "warm": {"x": 0.7, "days": 140, "temperature": 12},
    "due, nothing measured": {"x": 1.02, "days": 300},
    "dead sensor": {"x": 0.7, "ultrasound": {"value": 0, "status": "faulty", "reason": "zero"}, "velocity": 1.0},
    "stands": {"x": 1.2, "ultrasound": {"value": 0, "status": "not_testable", "reason": "stopped"}},
    "waits": {"x": 0.7, "ultrasound": {"value": 6, "nights_over": 1}},
    "zone D": {"x": 0.5, "bearing": {"power_kw": 90}, "velocity": {"value": 1.0, "level_now": 6.0}},
    "trip": {"x": 0.5, "temperature": {"value": 30, "level_now": 108.0}},
    "sealed": {"x": 0.5, "bearing": {"designation": "6313-2RS1"}, "ultrasound": 9, "onset": "gradual"},
    "mismatch": {"x": 0.5, "bearing": {"grease_in_service": "beta"}},
    "overdue": {"x": 2.7, "days": 500, "ultrasound": 0},
    "no interval": {"life": {"interval_reason": "speed_beyond_formula"}},
    "automatic": {"x": 0.5, "bearing": {"supply": "central_system"}, "ultrasound": 9, "onset": "gradual"},
    "electrical": {"x": 0.4, "bearing": {"drive": "inverter"}, "acceleration": 9, "ultrasound": 0},
}


@pytest.fixture(params=SCENES)
def told(request, scene, register_of):
    """Name, decision, evidence rows and register row of a scene, cells empty as None."""
    known = dict(SCENES[request.param])
    decision, evidence = scene(**known)
    own = {"bearing_id": "B", "designation": "6313", "speed_rpm": 1480, "gun_g_per_stroke": 1.2,
           "grease_assigned": "alpha"}  # fmt: skip
    bearing = register_of({**own, **known.get("bearing", {})})[0].iloc[0]
    rows = evidence.astype(object).where(evidence.notna(), None).to_dict("records")
    return request.param, decision.astype(object).where(decision.notna(), None).to_dict(), rows, bearing


def test_the_table_adds_up_to_the_stored_odds(told):
    _, decision, rows, _ = told
    made = table(decision, rows)
    assert made[0][: len(HEAD)] == HEAD
    assert {len(row) for row in made} == {len(HEAD) + 4}
    for column in (len(HEAD) + 1, len(HEAD) + 3):
        assert made[-2][column] == made[-1][column]
    assert len(made) == 2 + sum(row["status"] != "absent" for row in rows)
    lines = text(made, 200).splitlines()
    assert len(lines) == len(made) + 2
    first, other = leading(decision)
    assert first == "starved" if decision["call"] != "inspect" else decision[f"p_{first}"] >= decision[f"p_{other}"]


def test_every_line_is_whole(told, policy):
    _, decision, rows, bearing = told
    work = job(decision, bearing, rows, policy.dose)
    lines = [
        sentence(decision, rows), readers.planner(decision), readers.auditor(decision, policy.digest),
        *readers.technician(work), *readers.what_changes(changes(decision, rows, policy), decision),
        *readers.why_guarded(decision), text(table(decision, rows), 100),
    ]  # fmt: skip
    for line in lines:
        assert line
        for broken in ("nan", "NaT", "None", "inf ", "{", "}", "<NA>"):
            assert broken not in line, line
    assert len(lines[0]) <= 240


def test_no_advice_beyond_the_evidence(told, policy):
    """Grease is only told where the call or a second action says so; never for a sealed bearing or over a limit."""
    name, decision, rows, bearing = told
    work = job(decision, bearing, rows, policy.dose)
    lines = " ".join(readers.technician(work))
    greases = decision["call"] == "grease" or decision["second_action"] == "grease"
    assert ("Give " in lines or "Then grease" in lines) == (greases and bearing["supply"] == "hand")
    assert (work.grease_g or 0) <= (work.ceiling_g or 0)
    if bearing["seal"] == "sealed" or "absolute_limit" in decision["guards"]:
        assert not greases, name
    if work.kind == "none":
        assert lines == ""
    if work.shots:
        assert any(row["source"] == "ultrasound" and row["status"] != "absent" for row in rows)


def test_strokes_only_with_a_calibrated_gun(scene, register_of, policy):
    with_gun, evidence = scene(**SCENES["early"], bearing={"gun_g_per_stroke": 1.2})
    without, _ = scene(**SCENES["early"])
    assert with_gun["strokes"] == 19  # 23.1 g / 1.2 g
    assert pd.isna(without["strokes"])
    bearing = register_of({"bearing_id": "B", "designation": "6313", "speed_rpm": 1480})[0].iloc[0]
    shots = job(with_gun, bearing, evidence.to_dict("records"), policy.dose)
    assert (shots.shots, shots.kind, shots.grease_g) == (3, "grease", pytest.approx(23.1))


def test_electrical_erosion_is_looked_for_by_its_class(scene, register_of, policy):
    decision, evidence = scene(**SCENES["electrical"])
    bearing = register_of({"bearing_id": "B", "designation": "6313", "speed_rpm": 1480, "drive": "inverter"})[0].iloc[0]
    assert "5.4.3" in job(decision, bearing, evidence.to_dict("records"), policy.dose).classes
