"""Sentences about decisions: what each says, and what none may say."""

import pytest

from condlube.advisory.change import Change
from condlube.explain import readers
from condlube.explain.sentences import second, sentence
from condlube.schema.words import STATES


def row(source, deviation=0.0, status="assessed", reason="", **bits):
    none = dict.fromkeys((f"bits_{state}" for state in STATES[1:]), 0.0)
    return {"source": source, "deviation": deviation, "status": status, "reason": reason, "point_id": "P", **none,
            **{f"bits_{state}": value for state, value in bits.items()}}  # fmt: skip


def decision(call, reason, **told):
    usual = {"call": call, "reason": reason, "x": 0.6, "grease_g": 20.0, "look_at": "", "second_action": "",
             "due_date": None, **dict.fromkeys((f"p_{state}" for state in STATES), 0.05)}  # fmt: skip
    return usual | told


def test_a_signal_that_fell_is_not_called_near_expected():
    fallen = row("temperature", -22.0, reason="state_unclear", instrument_fault=3.0)
    said = sentence(decision("hold", "quiet"), [row("ultrasound"), fallen])
    assert said.startswith("Hold: ultrasound is near expected, 60% of the interval is used up; temperature 22 K under")
    assert said.endswith("does the machine run as usual, does the sensor sit?")


def test_a_signal_that_is_up_is_not_called_near_expected():
    said = sentence(decision("hold", "quiet"), [row("velocity", 1.0), row("temperature", 8.0, overfilled=2.5)])
    assert said == (
        "Hold: vibration velocity is near expected, temperature 8 K over expected, 60% of the interval is used up."
    )


def test_two_suspicions_of_like_weight_are_both_named():
    told = decision("inspect", "supply_fault ultrasound", look_at="supply", p_supply_fault=0.14, p_damaged=0.09)
    rows = [row("ultrasound", 9.3, supply_fault=4.2), row("response", 1.0, reason="returned", supply_fault=2.5)]
    assert sentence(told, rows) == (
        "Inspect the supply: ultrasound 9.3 dB over expected, the level fell after the last greasing and came back: "
        "points to grease not arriving, lost, wet or wrong, or to bearing damage."
    )
    assert "or to" not in sentence(decision("inspect", "damaged ultrasound", look_at="bearing", p_damaged=0.9), rows)


def test_a_finding_names_the_rise_beside_it():
    told = decision("inspect", "supply_fault finding.blocked_path", look_at="supply", p_supply_fault=0.99)
    rows = [
        row("ultrasound", 8.5, supply_fault=4.0),
        row("onset", reason="gradual", supply_fault=0.5),
        row("finding.blocked_path", reason="recorded", supply_fault=8.0) | {"observed": 9.0},
    ]
    said = sentence(told, rows)
    assert (
        "the grease path was found blocked 9 days ago, ultrasound 8.5 dB over expected, the rise came gradually" in said
    )


def test_damage_that_was_found_is_not_said_to_point_to_damage():
    told = decision("inspect", "damaged finding.damage", look_at="bearing", p_damaged=0.97)
    found = row("finding.damage", reason="recorded", damaged=7.0)
    said = "Inspect the bearing: bearing damage was found {}, and no replacement is on record since."
    for days, ago in ((0.0, "today"), (1.0, "1 day ago"), (12.0, "12 days ago")):
        assert sentence(told, [found | {"observed": days}]) == said.format(ago)


def test_a_passed_alarm_is_told_whatever_the_reason():
    over = row("temperature_limit", 1.0, reason="alarm", damaged=2.0) | {"observed": 92.0, "expected": 90.0}
    said = sentence(decision("hold", "settling"), [row("temperature", 16.0, overfilled=4.0), over])
    assert said.endswith("normal for a day or two; housing at 92 °C, limit 90 °C.")


def test_a_limit_passed_before_the_machine_was_stopped_does_not_ask_to_stop_it():
    over = row("zone", 3.0, reason="D", machine_fault=4.0) | {"observed": 6.0, "expected": 4.5}
    said = sentence(decision("inspect", "absolute_limit stopped", look_at="machine"), [over])
    assert "not to be started" in said
    assert "stop the machine" not in said


def test_a_small_dose_keeps_its_digit():
    assert sentence(decision("grease", "time", grease_g=1.93), []).startswith("Grease 1.9 g")


def test_what_a_lost_signal_is_called_by_name():
    dead = row("ultrasound", None, "faulty", "zero")
    assert "(ultrasound faulty: the sensor reads exact zeros)." in sentence(decision("hold", "data_lost"), [dead])


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("grease_mismatch unknown", "nobody knows which grease is inside"),
        ("grease_mismatch incompatible", "do not mix"),
        ("grease_mismatch uncharted", "no chart tells"),
        ("grease_mismatch untested", "test a mixture"),
        ("unsettled above_before", "settled above its level before the greasing"),
        ("unsettled rising", "still rises after the greasing"),
        ("unsettled unexplained", "nothing else to explain it"),
        ("long_overdue sealed", "plan the replacement"),
        ("extension_cap watched", "condition does not extend"),
        ("extension_cap dirt", "dirt allows little more"),
        ("extension_cap moisture", "moisture allows little more"),
        ("extension_cap heavy_dirt", "heavy dirt allows no more"),
        ("extension_cap water", "water allows no more"),
        ("extension_cap inverter", "without shaft protection allows no more"),
        ("extension_cap vertical", "open vertical shaft allows no more"),
        ("extension_cap highest", "highest criticality allows no more"),
        ("extension_cap unwatched", "no sound signal that would tell of dryness"),
    ],
)
def test_each_kind_of_a_guard_is_told(reason, words):
    assert words in sentence(decision("inspect", reason, look_at="supply"), [])


def test_a_replacement_is_planned_with_a_date():
    from datetime import date

    told = decision("hold", "replacement_window", second_action="replace", x=1.9, due_late=None, due_early=None)
    assert (
        sentence(told, [])
        == "Hold: past the life of its grease, and no signal speaks for a fault (190% of the interval used up)."
    )
    assert second(told) == "Plan its replacement for the next planned stop."
    assert readers.planner({**told, "due_date": date(2026, 3, 1)}) == "Replace at a planned stop before 2026-03-01."
    assert readers.planner(told) == "Replace at the next planned stop."


def test_a_hold_beside_a_suspect_instrument_says_what_is_left_alone():
    rows = [row("ultrasound", 4.9, starved=0.9), row("onset", 0.7, reason="recent", instrument_fault=1.6)]
    told = decision("hold", "instrument_fault onset", second_action="inspect_instrument")
    assert sentence(told, rows) == (
        "Hold: ultrasound 4.9 dB over expected, the rise is only days old, not enough to act on at the bearing itself."
    )
    assert second(told) == "Check the instrument."


def test_a_change_close_by_is_told_with_the_digit_that_it_needs():
    said = readers.what_changes([Change("ultrasound", 9.37, 9.41, "", "inspect")], decision("grease", "time"))
    assert said == ["ultrasound at 9.41 dB over expected (now 9.37): inspect"]
    same = readers.what_changes([Change("velocity", 1.0, 1.81, "", "inspect")], decision("grease", "time"))
    assert same == ["vibration velocity at 1.81 times expected (now 1.00): inspect"]


def test_no_probability_is_nothing_or_all():
    told = decision("inspect", "damaged ultrasound", p_adequate=0.0003, p_damaged=0.9995, guards="",
                    cost_call="inspect", cost_grease=1.0, cost_hold=2.0, cost_inspect=4.0)  # fmt: skip
    assert "lubrication adequate under 0.1%, bearing damage over 99.9%" in readers.auditor(told, "abc")


def test_growth_of_a_level_that_says_nothing_itself_has_a_subject():
    rows = [row("ultrasound", 1.0), row("growth", 3.0, damaged=1.5)]
    assert sentence(decision("hold", "damaged growth"), rows) == (
        "Hold: a signal has risen by 3 times its day-to-day scatter within the last nights, not enough to act on."
    )
