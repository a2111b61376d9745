"""One test or more per criterion of signal quality."""

import numpy as np
import pandas as pd
import pytest

from condlube.manipulation.reasons import MEANINGS, NOT_TESTABLE, REASONS, verdict


def faults(found, point="X"):
    rest = found[(found["point_id"] == point) & (found["cell"] == -1)]
    return {int(r.day): r.fault for r in rest.itertuples()}


def test_quality_is_three_valued():
    assert set(MEANINGS) == set(REASONS)
    assert set(REASONS) > NOT_TESTABLE
    assert [verdict(r) for r in ("", "frozen", "gap")] == ["sound", "faulty", "not_testable"]


@pytest.mark.parametrize("quantity", ["ultrasound", "acceleration", "kurtosis", "velocity", "temperature"])
def test_a_healthy_signal_has_no_fault(plant, quantity):
    found = plant(days=15, X=quantity).summaries()
    assert set(found["fault"]) == {""}
    assert (found["coverage"] == 1).all()
    assert (found["n"] == 24).all()


def test_marked_bad_and_not_a_number(plant, row):
    made = plant(days=3, X="velocity")
    made.quality["X"][24:36] = "bad"
    made.values["X"][40:48] = np.nan
    found = made.summaries()
    assert faults(found) == {1: "bad"}
    assert row(found, "X", 1)["n"] == 4
    assert row(found, "X", 1)["fault"] == "gap"
    assert row(found, "X", 1)["coverage"] == pytest.approx(4 / 24)


def test_uncertain_is_context_and_no_evidence(plant, row):
    made = plant(days=3, X="velocity", S="speed")
    made.quality["X"][24:48] = "uncertain"
    made.quality["S"][:] = "uncertain"
    found = made.summaries()
    assert faults(found) == {1: "uncertain"}
    assert row(found, "X", 1)["n"] == 0
    assert row(found, "X", 2)["speed_rpm"] == pytest.approx(1480, rel=0.05)


def test_clock_fault(plant):
    made = plant(days=3, X="velocity")
    table = made.readings()
    table.loc[24:47, "known_at"] = table.loc[24:47, "time"] - pd.Timedelta(hours=1)
    assert faults(made.summaries(table=table)) == {1: "clock"}


@pytest.mark.parametrize(("quantity", "value"), [
    ("temperature", 850.0), ("temperature", -273.15), ("velocity", -1.0), ("ultrasound", 999.0), ("kurtosis", -3.0),
])  # fmt: skip
def test_out_of_physical_range(plant, row, quantity, value):
    made = plant(days=3, X=quantity)
    made.values["X"][24:32] = value + np.arange(8) * 1e-3
    found = made.summaries()
    assert faults(found) == {1: "range"}
    assert row(found, "X", 1)["n"] == 16


def test_full_scale(plant):
    made = plant(days=3, X={"quantity": "acceleration", "full_scale": 5.0})
    made.values["X"][24:40] = 5.0 - 0.01 * np.random.default_rng(0).random(16)
    assert faults(made.summaries()) == {1: "full_scale"}


@pytest.mark.parametrize("quantity", ["ultrasound", "acceleration", "velocity", "temperature", "kurtosis"])
def test_dead_at_zero_on_a_running_machine(plant, row, quantity):
    made = plant(days=12, X=quantity, S="speed")
    made.values["X"][24 * 4 + 5 :] = 0.0
    found = made.summaries()
    assert faults(found) == dict.fromkeys(range(4, 12), "zero")
    assert row(found, "X", 4)["n"] == 5
    assert (found[(found["point_id"] == "X") & (found["day"] > 4)]["n"] == 0).all()


def test_dead_at_zero_without_a_tag(plant):
    made = plant(days=20, X="velocity")
    made.values["X"][24 * 4 :] = 0.0
    assert faults(made.summaries()) == dict.fromkeys(range(4, 20), "zero")


def test_dead_at_zero_on_a_machine_known_to_cycle(plant):
    made = plant(days=12, X="velocity")
    stop = made.hours % 24 < 8
    made.values["X"][stop] = 0.03 + 0.001 * np.sin(made.hours[stop])
    made.values["X"][24 * 6 :] = 0.0
    found = faults(made.summaries())
    assert {found[k] for k in range(1, 6)} == {""}
    assert {found[k] for k in range(6, 12)} == {"zero"}


def test_zero_is_standstill_where_standstill_reads_zero(plant):
    made = plant(days=8, X="velocity")
    made.values["X"][made.hours % 24 < 8] = 0.0
    found = made.summaries()
    assert faults(found) == {0: "zero", **dict.fromkeys(range(1, 8), "")}  # it takes a day to learn
    assert (found[(found["cell"] == 0) & (found["day"] > 0)]["running_h"] == 16).all()


@pytest.mark.parametrize("quantity", ["ultrasound", "acceleration", "velocity", "temperature"])
def test_frozen_sensor_from_when_it_began(plant, row, quantity):
    made = plant(days=10, X=quantity, S="speed")
    made.values["X"][24 * 5 + 6 :] = made.values["X"][24 * 5 + 6]
    found = made.summaries()
    assert faults(found) == dict.fromkeys(range(5, 10), "frozen")
    assert row(found, "X", 5)["n"] == 6


def test_a_sensor_frozen_for_good_stays_frozen(plant):
    made = plant(days=70, X="velocity")
    made.values["X"][24 * 5 :] = 1.234
    assert faults(made.summaries()) == dict.fromkeys(range(5, 70), "frozen")


def test_a_coarse_temperature_that_holds_still_is_not_frozen(plant):
    """Whole degrees, moving by one every other day or so: days on end are flat."""
    made = plant(days=60, X="temperature")
    walk = np.cumsum(np.random.default_rng(3).choice([-1, 0, 1], 60, p=[0.25, 0.5, 0.25]))
    made.values["X"] = 55.0 + np.repeat(walk, 24)
    assert faults(made.summaries()) == {}


def test_a_coarse_temperature_that_freezes_is_found_within_a_fortnight(plant):
    made = plant(days=60, X="temperature")
    made.values["X"] = np.round(made.values["X"] + 3 * np.sin(made.hours / 24 * 2 * np.pi))
    made.values["X"][24 * 20 :] = 61.0
    found = faults(made.summaries())
    assert set(found.values()) == {"frozen"}
    assert 20 <= min(found) <= 34
    assert max(found) == 59


def test_stillness_is_no_excuse_while_ambient_moves(plant):
    made = plant(days=12, X="temperature", A="ambient")
    made.values["X"] = np.repeat(55.0 + np.arange(12) % 2, 24)
    assert faults(made.summaries()) == {}
    made.values["A"] = 20 + 6 * np.sin(made.hours / 24 * 2 * np.pi)
    assert "frozen" in faults(made.summaries()).values()


def test_constant_operating_tags_are_not_frozen(plant):
    made = plant(days=5, X="velocity", S="speed")
    made.values["S"][:] = 1480.0
    assert set(made.summaries()["fault"]) == {""}


def test_single_spikes_are_dropped_and_counted(plant, row):
    made = plant(days=3, X="velocity", T="temperature")
    made.values["X"][30] *= 40
    made.values["T"][33] += 60
    found = made.summaries()
    for point in "XT":
        assert row(found, point, 1)["n"] == 23
        assert row(found, point, 1, -1)["n_total"] == 1
        assert row(found, point, 1, -1)["fault"] == ""
    assert max(row(found, "T", 1)["octiles"]) < 65


def test_a_step_is_no_spike(plant, row):
    made = plant(days=3, X="acceleration")
    made.values["X"][36:] *= 30
    assert row(made.summaries(), "X", 1)["n"] == 24


JUMPS = [
    ("temperature", lambda v: 1.8 * v + 32), ("temperature", lambda v: (v - 32) / 1.8),
    ("temperature", lambda v: v + 273.15),
    ("acceleration", lambda v: v * 9.80665), ("acceleration", lambda v: v / 9.80665),
    ("velocity", lambda v: v * 25.4), ("velocity", lambda v: v / 25.4),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "convert"), JUMPS)
@pytest.mark.parametrize("hour", [10, 21])
def test_unit_jump_is_never_averaged_in(plant, row, quantity, convert, hour):
    made = plant(days=45, X=quantity, S="speed")
    after = made.hours >= 24 * 8 + hour
    before = made.summaries()[lambda f: (f["point_id"] == "X") & (f["day"] < 8)]
    made.values["X"][after] = convert(made.values["X"][after])
    found = made.summaries()
    expected = range(8 if hour == 10 else 9, 45)
    assert {k: f for k, f in faults(found).items() if k != 8 or hour == 10} == dict.fromkeys(expected, "unit_jump")
    if hour == 10:
        assert row(found, "X", 8)["n"] == hour
    assert row(found, "X", 8)["median"] == pytest.approx(before["median"].median(), rel=0.05)


@pytest.mark.parametrize(("quantity", "convert"), JUMPS)
def test_another_signal_is_witness_enough(plant, quantity, convert):
    made = plant(days=20, X=quantity, U="ultrasound")
    made.values["X"][24 * 8 + 7 :] = convert(made.values["X"][24 * 8 + 7 :])
    assert faults(made.summaries()) == dict.fromkeys(range(8, 20), "unit_jump")


def test_a_stop_or_a_start_is_no_unit_jump_whatever_its_size(plant):
    for begin, end in ((24 * 8 + 7, 24 * 9), (0, 24 * 8 + 7)):
        made = plant(days=12, X="velocity", Y="acceleration")
        made.values["X"][begin:end] /= 25.4
        made.values["Y"][begin:end] /= 30.0
        assert faults(made.summaries()) == {}


def test_a_unit_that_is_put_right_again_is_sound_again(plant):
    made = plant(days=20, X="velocity", C="current")
    made.values["X"][24 * 6 + 7 : 24 * 11 + 7] *= 25.4
    found = faults(made.summaries())
    assert {k for k, fault in found.items() if fault == "unit_jump"} == {6, 7, 8, 9, 10, 11}


def test_a_rise_that_is_no_conversion_is_evidence(plant):
    for factor in (3.0, 6.0, 16.0):
        made = plant(days=12, X="acceleration")
        made.values["X"][24 * 6 :] *= factor
        assert faults(made.summaries()) == {}


def test_gap_and_stale(plant, row):
    made = plant(days=6, X="velocity", Y="velocity")
    table = made.readings()
    third, hour = table["time"].dt.date.eq(made.days[3]), table["time"].dt.hour
    gap = (table["point_id"] == "X") & third & (hour > 2) & (hour < 21)
    stale = (table["point_id"] == "Y") & third & (hour > 10)
    found = made.summaries(table=table[~gap & ~stale])
    assert row(found, "X", 3)["fault"] == "gap"
    assert row(found, "Y", 3)["fault"] == "stale"
    assert row(found, "X", 3)["coverage"] == pytest.approx(6 / 24)
    assert {row(found, "X", k)["fault"] for k in (2, 4)} == {""}


def test_few_readings_are_held_against_earlier_days(plant, row):
    made = plant(days=6, X="velocity")
    table = made.readings()
    sparse = table["time"].dt.date.eq(made.days[4]) & ~table["time"].dt.hour.isin([6, 18])
    found = row(made.summaries(table=table[~sparse]), "X", 4)
    assert (found["n"], found["fault"]) == (2, "gap")
    assert found["coverage"] == pytest.approx(2 / 24)


def test_quantised(plant):
    made = plant(days=6, X="velocity", U="ultrasound", T="temperature")
    made.values["X"] = np.random.default_rng(0).choice([0.5, 1.0, 1.5], len(made.time))
    made.values["U"] = np.round(made.values["U"])
    made.values["T"] = np.round(made.values["T"])
    found = made.summaries()
    cells = found[(found["cell"] >= 0) & (found["day"] > 0)]
    assert set(cells[cells["point_id"] != "X"]["fault"]) == {""}
    made.values["X"] = np.random.default_rng(0).choice([0.5, 2.0], len(made.time))
    found = made.summaries()
    assert set(found[(found["cell"] >= 0) & (found["point_id"] == "X")]["fault"]) == {"quantised"}
