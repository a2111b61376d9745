"""What an inspection has seen and how often an instrument was faulty, in the priors; every number is worked by hand."""

from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest

AS_OF = datetime(2025, 6, 2, tzinfo=UTC)
LEVEL = {"value": 9, "onset": "gradual", "at_inspection": 9}
QUIET = {"x": 0.5, "days": 100}


def clean(days):
    return [{"kind": "inspection", "time": AS_OF - timedelta(days=days), "finding": "none"}]


@pytest.mark.parametrize(("days", "share"), [(9, 2 ** (-9 / 45)), (45, 0.5), (80, 2 ** (-80 / 45))])
def test_the_bits_seen_are_taken_off_and_come_back_by_half_in_45_days(scene, days, share):
    """9 dB: 4.125 bits for starved, a quarter of the way from 4 to 4.5; gradual 0.5 more, where the rise had begun."""
    before, _ = scene(**QUIET, ultrasound=LEVEL)
    after, _ = scene(**QUIET, ultrasound=LEVEL, events=clean(days))
    assert after["prior_starved"] / before["prior_starved"] == pytest.approx(2 ** -(4.625 * share), rel=1e-6)
    assert after["prior_overfilled"] / before["prior_overfilled"] == pytest.approx(2 ** -(0.125 * share), rel=1e-6)


def test_the_rest_of_damage_that_a_look_leaves_holds_where_little_was_seen(scene):
    """9 dB gradual: 2.5 bits for damage; an inspection leaves a tenth, 3.3 bits: the more of the two."""
    before, _ = scene(**QUIET, ultrasound=LEVEL)
    after, _ = scene(**QUIET, ultrasound=LEVEL, events=clean(1))
    left = 1 - 0.9 * 2 ** (-1 / 45)
    assert after["prior_damaged"] / before["prior_damaged"] == pytest.approx(left, rel=1e-9)


def test_never_more_is_taken_off_than_speaks_tonight(scene):
    """Seen at 16 dB, back at 3 dB: tonight's -0.5 bits for starved leave nothing to take off."""
    before, _ = scene(**QUIET, ultrasound=3)
    after, _ = scene(**QUIET, ultrasound={"value": 3, "at_inspection": 16}, events=clean(5))
    assert after["prior_starved"] == before["prior_starved"]


@pytest.mark.parametrize(("days", "seen"), [(2, True), (4, False)])
def test_growth_after_the_look_is_not_seen(scene, days, seen):
    """growth 6: 5 bits for damage."""
    told = {"acceleration": {"value": 2.2, "growth": 6, "at_inspection": 0}}
    after, _ = scene(x=0.3, days=60, events=clean(days), **told)
    faded = 2 ** (-days / 45)
    off = 2 ** -(5 * faded) if seen else 1 - 0.9 * faded
    assert after["prior_damaged"] == pytest.approx(0.003 * off, rel=1e-5)


def test_a_level_without_an_inspection_on_record_is_not_excused(scene):
    before, _ = scene(**QUIET, ultrasound={"value": 9, "onset": "gradual"})
    after, _ = scene(**QUIET, ultrasound=LEVEL)
    assert after["prior_starved"] == before["prior_starved"]
    assert "early_rise" in after["guards"]


@pytest.mark.parametrize(("share", "prior"), [(0.0, 0.005), (0.05, 0.0175), (0.1, 0.03), (0.6, 0.03)])
def test_the_prior_of_the_instrument_follows_its_faulty_days(scene, share, prior):
    """0.005 to 0.03 at a tenth of the days: 0.005 + 0.025 share / 0.1."""
    decision, evidence = scene(
        x=0.5, rows=[
            {"quantity": "ultrasound", "value": 0, "point": "P1", "faulty_share": share},
            {"quantity": "temperature", "value": 0, "point": "P2", "faulty_share": share / 2},
        ],
    )  # fmt: skip
    assert decision["prior_instrument_fault"] == pytest.approx(prior, rel=1e-9)
    row = evidence.iloc[0]
    assert row["coverage"] == pytest.approx(1 - share)
    assert row["point_id"] == "P1" if share else pd.isna(row["point_id"])
    assert ("rough_history" in row["reason"]) == (share > 0)


def test_who_waits_for_the_survey_is_due_in_its_week(scene):
    """One bearing on its route waits for nobody: its turn is every week, and it is asked at once."""
    decision, _ = scene(x=14.0, days=5000, life={"origin": "register"}, ultrasound=0)
    assert decision["call"] == "inspect"


def test_a_replacement_is_to_be_planned_before_the_look_that_time_brings(scene):
    """x 2.0 after 400 days without evidence: 2.5 lives after 500."""
    decision, _ = scene(x=2.0, days=400, bearing={"designation": "6313-2RS1"})
    assert (decision["call"], decision["second_action"]) == ("hold", "replace")
    assert (decision["due_date"] - pd.Timestamp("2025-06-01")).days == pytest.approx(100, abs=1)
