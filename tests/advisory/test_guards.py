"""Guards that need several bearings, an interval that is not there, or the future; the others stand in cases.toml."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from condlube.advisory import guards
from condlube.advisory.decide import decide
from condlube.advisory.guard_codes import TAKES
from condlube.advisory.situation import survey_turns, survey_week
from condlube.assessment.life import life
from condlube.policy.parse import parse_policy
from condlube.register.model import Site
from condlube.schema.arrow import rows_to_table


def test_every_guard_has_a_function_and_takes_something():
    assert tuple(guards.GUARDS) == tuple(TAKES) == guards.CODES
    assert all(TAKES.values())


def test_nothing_left_is_inspect():
    every = np.ones((1, len(TAKES)), dtype=bool)
    assert guards.allowed(every).tolist() == [[False, False, True]]
    assert guards.allowed(~every).tolist() == [[True, True, True]]


def test_a_speed_beyond_every_method_is_looked_at_once(scene):
    told = {"origin": "register", "interval_reason": "speed_beyond_formula"}
    decision, _ = scene(life=told)
    assert decision["call"] == "inspect"
    assert decision["basis"] == "outside_range"
    assert np.isnan(decision["x"])
    assert decision["interval_method"] == "speed_beyond_formula"
    seen = [{"kind": "inspection", "time": datetime(2025, 5, 1, 8, tzinfo=UTC), "finding": "none"}]
    again, _ = scene(life=told, events=seen)
    assert again["call"] == "hold"


def old_machines(register_of, n, **columns):
    return register_of(*[
        {"bearing_id": f"B{k:03}", "designation": "6313", "speed_rpm": 1480, "commissioned": "2010-01-01",
         "route": f"R{k % 2}", **columns}
        for k in range(n)
    ])[0]  # fmt: skip


def test_surveys_of_unknown_histories_do_not_flood_a_route(register_of, policy):
    """50 old machines on two routes: at most 5 surveys per route on any morning, and everyone's turn within 5 weeks."""
    bearings = old_machines(register_of, 50, history_known="no")
    bearings = bearings.join(survey_turns(bearings, policy))
    asked = np.zeros(len(bearings), dtype=int)
    for week in range(5):
        now = np.datetime64("2025-06-02", "us") + np.timedelta64(7 * week, "D")
        turn = survey_week(bearings, now)
        asked += turn
        assert bearings[turn].groupby("route").size().max() <= 5
        assert (turn == survey_week(bearings, now + np.timedelta64(0, "D"))).all()
    assert (asked == 1).all()


def test_a_plant_without_records_is_not_all_overdue_on_the_first_morning(register_of, policy):
    """All commissioned in 2010, no greasing on record: x is far over every cap, and yet few are called at once."""
    bearings = old_machines(register_of, 50)
    as_of, site = datetime(2025, 6, 2, tzinfo=UTC), Site("plant", ZoneInfo("UTC"), None)
    none = {name: rows_to_table(name, []).to_pandas() for name in ("summaries", "events", "deviations", "reviews")}
    greases = rows_to_table("greases", []).to_pandas()
    points = rows_to_table("points", []).to_pandas()
    used = life(bearings, greases, points, none["summaries"], none["events"], none["deviations"], site, policy, as_of)
    assert used["x"].min() > 2.5
    decisions = decide(
        bearings, greases, none["events"], used, none["deviations"], none["reviews"], site, policy, as_of
    ).decisions
    counts = decisions["call"].value_counts()
    assert counts["inspect"] <= 10
    assert counts["hold"] == 50 - counts["inspect"]
    waiting = decisions[decisions["call"] == "hold"]
    assert waiting["guards"].str.contains("survey_waits").all()


def test_a_hold_falls_due_when_the_interval_is_used_up(scene):
    """x = 0.5 after 100 days: the other half takes another 100 days, 67 to 150 with the interval uncertain by 1.5."""
    decision, _ = scene(x=0.5, days=100)
    night = pd.Timestamp("2025-06-01")
    assert (decision["due_date"] - night).days == pytest.approx(100, abs=1)
    assert (decision["due_early"] - night).days == pytest.approx(67, abs=1)
    assert (decision["due_late"] - night).days == pytest.approx(150, abs=1)


def test_a_rise_that_goes_on_falls_due_sooner(scene):
    level = {"value": 3.0, "slope": 3.0, "slope_low": 2.0, "slope_high": 4.0}
    slow, _ = scene(x=0.5, days=100, ultrasound=3.0)
    rising, _ = scene(x=0.5, days=100, ultrasound=level)
    unsure, _ = scene(x=0.5, days=100, ultrasound={**level, "slope_low": -0.5})
    assert rising["due_date"] < slow["due_date"]
    assert unsure["due_date"] == slow["due_date"]
    assert rising["due_early"] <= rising["due_date"] <= rising["due_late"]


def test_a_deferral_and_just_greased_run_out(scene):
    review = {"verdict": "defer", "time": datetime(2025, 5, 30, tzinfo=UTC),
              "defer_until": date(2025, 6, 20)}  # fmt: skip
    decision, _ = scene(x=0.35, days=70, ultrasound=9, onset="gradual", reviews=[review])
    assert decision["call"] == "hold"
    assert decision["due_date"] == pd.Timestamp("2025-06-21")


def test_each_criticality_is_decided_by_its_own_policy(scene, default_text):
    rules = parse_policy(
        'base = "default"\n[criticality.low.guard.extension_cap]\nx_watched = 3.0\n', "site.toml", default_text
    )
    quiet = {"x": 1.6, "days": 300, "ultrasound": 0, "acceleration": 0, "velocity": 1.0, "temperature": 0}
    assert scene(rules=rules, **quiet)[0]["call"] == "grease"
    assert scene(rules=rules, bearing={"criticality": "low"}, **quiet)[0]["call"] == "hold"


def test_nobody_is_decided_without_an_error(register_of, policy):
    bearings, greases, _ = register_of({"bearing_id": "B", "designation": "6313", "speed_rpm": 1480})
    none = {name: rows_to_table(name, []).to_pandas() for name in ("summaries", "events", "deviations", "reviews")}
    points = rows_to_table("points", []).to_pandas()
    as_of, site = datetime(2025, 6, 2, tzinfo=UTC), Site("plant", ZoneInfo("UTC"), None)
    nobody = bearings.iloc[:0]
    used = life(nobody, greases, points, none["summaries"], none["events"], none["deviations"], site, policy, as_of)
    made = decide(nobody, greases, none["events"], used, none["deviations"], none["reviews"], site, policy, as_of)
    assert len(made.decisions) == len(made.evidence) == 0
    assert "call" in made.decisions
    assert "bits_starved" in made.evidence


@pytest.mark.parametrize(
    ("bearing", "named"),
    [
        ({}, "watched"),
        ({"contamination": "light_abrasive"}, "dirt"),
        ({"moisture": "humid"}, "moisture"),
        ({"contamination": "heavy_abrasive", "moisture": "humid"}, "heavy_dirt"),
        ({"moisture": "water"}, "water"),
        ({"drive": "inverter"}, "inverter"),
        ({"orientation": "vertical", "effective_seal": "no"}, "vertical"),
        ({"criticality": "highest"}, "highest"),
    ],
)
def test_the_reason_names_what_lets_the_interval_be_extended_no_further(scene, bearing, named):
    decision, _ = scene(x=1.9, bearing=bearing, ultrasound=0, acceleration=0)
    assert (decision["call"], decision["reason"]) == ("grease", f"extension_cap {named}")
