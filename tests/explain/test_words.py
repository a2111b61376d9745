"""Every code that a decision can carry has words, and the sentences about matters and work are whole."""

import inspect
import re
from datetime import date

import pytest

from condlube.advisory import guards
from condlube.advisory.guard_codes import TAKES
from condlube.advisory.matters import STATES as MATTER_STATES
from condlube.advisory.matters import Matter
from condlube.advisory.story import GUARD_LOOK_AT, LOOK_AT
from condlube.assessment import priors
from condlube.assessment.sources import FINDINGS, LEVELS, SOURCES
from condlube.explain import phrases
from condlube.explain.cautions import GENERAL, URGENT, URGENT_STOPPED, cautions
from condlube.explain.instructions import how
from condlube.explain.phrases import fact, why_not
from condlube.explain.sentences import second, sentence, standing, until
from condlube.explain.table import source_name
from condlube.policy.decision import Response
from condlube.schema.words import STATES

NIGHT = date(2026, 6, 4)


def test_every_guard_state_and_thing_to_look_at_has_words():
    assert set(TAKES) == set(guards.CODES) == set(phrases.GUARDS)
    assert set(phrases.STATES) == set(STATES)
    assert {*LOOK_AT, *GUARD_LOOK_AT.values()} - {""} <= set(phrases.LOOK_FOR)
    assert set(phrases.MATTERS) == set(MATTER_STATES)
    assert set(phrases.RESPONSES) == set(Response.classes)


def test_every_finding_is_told():
    for source in FINDINGS:
        assert fact({"source": source, "deviation": 0.0, "reason": "recorded", "observed": 3.0})
        assert source_name(source).startswith("found: ")
    assert all(source_name(source) for source in (*SOURCES, "prior"))


def test_every_code_of_the_priors_has_words():
    codes = re.findall(r'^ +"([a-z_]+)": ', inspect.getsource(priors), re.MULTILINE)
    assert {"assumed_x", "heavy_dose", "supply_doubted", "inspected_without_finding"} <= set(codes)
    assert set(codes) <= set(phrases.REASONS)


@pytest.mark.parametrize(("row", "said"), [
    ({"source": "ultrasound", "deviation": -7.0}, "ultrasound 7.0 dB under expected"),
    ({"source": "temperature", "deviation": 12.0}, "temperature 12 K over expected"),
    ({"source": "velocity", "deviation": 2.0}, "vibration velocity 2.00 times the expected"),
    ({"source": "collector_share", "deviation": 0.9}, "90% of the other points of its collector moved with it"),
])  # fmt: skip
def test_a_fact_is_told_in_trade_units(row, said):
    assert fact(row) == said


def test_what_could_not_be_tested_says_why():
    assert why_not({"status": "absent", "reason": ""}) == "not measured"
    assert why_not({"status": "faulty", "reason": "zero"}) == "faulty: the sensor reads exact zeros"


def matter(**changes):
    held = {"bearing_ids": ("B",), "call": "inspect", "look_at": "bearing", "first": NIGHT, "last": NIGHT, "nights": 1,
            "began_as": "damaged ultrasound", "reason": "damaged ultrasound", "state": "open", "since": NIGHT,
            "at_standstill": False, "by": None}  # fmt: skip
    return Matter(**{**held, **changes})


@pytest.mark.parametrize(("changes", "said"), [
    ({}, "new tonight"),
    ({"first": date(2026, 6, 1)}, "since 1 Jun 2026 (3 nights), open"),
    ({"state": "done", "since": NIGHT}, "new tonight, done 4 Jun"),
    ({"first": date(2026, 6, 3), "began_as": "starved ultrasound"},
     "since 3 Jun 2026 (1 night), open, at first: short of grease"),
    ({"first": date(2026, 6, 3), "at_standstill": True},
     "since 3 Jun 2026 (1 night), open, the machine stands: an opportunity"),
    ({"first": date(2026, 5, 30), "by": date(2026, 6, 3)},
     "since 30 May 2026 (5 nights), open, late since 3 Jun"),
    ({"first": date(2026, 6, 3), "by": NIGHT}, "since 3 Jun 2026 (1 night), open"),
    ({"first": date(2026, 5, 30), "by": date(2026, 6, 3), "state": "done", "since": NIGHT},
     "since 30 May 2026 (5 nights), done 4 Jun"),
])  # fmt: skip
def test_how_a_matter_stands(changes, said):
    assert standing(matter(**changes), NIGHT) == said


def decision(**changes):
    return {"call": "grease", "look_at": "", "reason": "time", "grease_g": 20.0, "strokes": 15, "x": 1.02, "guards": "",
            "second_action": "", "failed": "", **changes}  # fmt: skip


def test_sentences_of_the_plain_cases():
    assert sentence(decision(), []) == "Grease 20 g: 102% of the interval is used up; nothing is measured."
    quiet = [{"source": s, "status": "assessed", "deviation": 0.0, "reason": ""} for s in LEVELS[:2]]
    said = sentence(decision(call="hold", reason="quiet", x=0.4), quiet)
    assert said == "Hold: ultrasound and high-frequency acceleration are near expected, 40% of the interval is used up."
    assert sentence(decision(call=None, failed="lost"), []) == "Not decided: lost."
    assert second(decision(second_action="grease")).startswith("Greasing is due as well")


@pytest.mark.parametrize("code", sorted(TAKES))
def test_every_guard_makes_a_sentence(code):
    row = {"source": "ultrasound", "status": "assessed", "deviation": 9.0, "reason": "", "bits_starved": 4.0}
    said = sentence(decision(call="inspect", look_at="supply", reason=code), [row])
    assert phrases.GUARDS[code] in said


def bearing(**changes):
    return {
        "supply": "hand",
        "seal": "open",
        "fitting_access": "running",
        "hazardous_area": False,
        "relief": "plug",
        "gun_g_per_stroke": None,
        **changes,
    }


def test_cautions_of_the_job_at_hand():
    assert cautions(bearing(), decision(guards="absolute_limit"))[0] == URGENT
    assert cautions(bearing(), decision(guards="absolute_limit stopped"))[0] == URGENT_STOPPED
    assert any("lock out" in line for line in cautions(bearing(fitting_access="stopped"), decision()))
    assert any("work permit" in line for line in cautions(bearing(hazardous_area=True), decision()))
    assert any("Open the outlet plug" in line for line in cautions(bearing(), decision()))
    assert not any("outlet" in line for line in cautions(bearing(), decision(call="inspect")))
    assert cautions(bearing(), decision())[-len(GENERAL) :] == list(GENERAL)


def test_no_strokes_without_a_calibrated_gun_and_no_hand_on_an_automatic_supply():
    assert "calibrate the gun" in how(bearing(), decision(strokes=None), 0, 1.0)
    assert "one stroke of the gun is too much" in how(bearing(gun_g_per_stroke=2.2), decision(strokes=None), 0, 1.0)
    assert how(bearing(), decision(strokes=1), 0, 1.0).startswith("1 stroke of")
    assert "In 3 shots while listening, 1 min apart" in how(bearing(), decision(), 3, 1.0)
    assert how(bearing(supply="single_point_lubricator"), decision(), 3, 1.0).startswith("Automatic supply")


@pytest.mark.parametrize(("changes", "late"), [
    ({"by": date(2026, 6, 3)}, True),
    ({"by": date(2026, 6, 3), "state": "on_work_list"}, True),
    ({"by": NIGHT}, False),
    ({"by": None}, False),
    ({"by": date(2026, 6, 3), "state": "deferred"}, False),
    ({"by": date(2026, 6, 3), "state": "inspected_with_finding"}, False),
])  # fmt: skip
def test_what_nobody_has_done_in_time_is_late(changes, late):
    assert matter(**changes).late(NIGHT) is late


def test_until_when_work_is_to_be_done():
    assert until(date(2026, 6, 3), late=True) == "late since 3 Jun 2026"
    assert until(date(2026, 6, 9), late=False) == "by 9 Jun 2026"
    assert until(None, late=False) == ""
