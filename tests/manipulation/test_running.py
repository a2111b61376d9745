"""Running state from speed, power, current, the signal itself, and from nothing."""

import numpy as np
import pandas as pd
import pytest


def hours(found, point):
    return found[found["point_id"] == point].groupby("day")["running_h"].sum()


def night_stop(made):
    return (made.hours % 24 < 6) | (made.hours % 24 >= 20)


@pytest.mark.parametrize(("quantity", "standing"), [("speed", 0.0), ("speed", 30.0), ("power", 0.3), ("current", 0.0)])
def test_a_tag_tells_the_state_of_every_point(plant, row, quantity, standing):
    made = plant(days=5, U="ultrasound", T="temperature", X=quantity)
    stop = night_stop(made)
    made.values["X"][stop] = standing
    made.values["U"][stop] = 3.0
    found = made.summaries()
    assert hours(found, "U").tolist() == [14] * 5
    assert hours(found, "T").tolist() == [14] * 5
    assert row(found, "U", 3)["median"] == pytest.approx(22, abs=1)
    assert row(found, "U", 3)["n"] == 14
    assert row(found, "T", 3)["n"] == 13  # the first hour after the start is left out
    rest = row(found, "U", 3, -1)
    assert (rest["n"], rest["n_total"], rest["running_h"], rest["fault"]) == (0, 10, 0, "")
    assert row(found, "U", 3)["starts"] == 1


def test_a_starting_current_does_not_lift_the_threshold(plant):
    made = plant(days=4, V="velocity", C="current")
    made.values["C"] = np.where(made.hours % 24 == 7, 130.0, 7.0)  # idling at a third, six times that at the start
    made.values["C"][night_stop(made)] = 0.0
    assert hours(made.summaries(), "V").tolist() == [14] * 4


def test_a_standby_pump_that_never_ran_stands_still(plant):
    made = plant(days=4, T="temperature", C="current")
    made.values["C"] = 0.02 + 0.01 * np.sin(made.hours)
    found = made.summaries()
    assert set(found[found["point_id"] == "T"]["cell"]) == {-1}


@pytest.mark.parametrize("quantity", ["ultrasound", "acceleration", "velocity"])
def test_the_signal_itself_tells_once_it_has_stopped_and_started(plant, row, quantity):
    made = plant(days=8, X=quantity, T="temperature")
    stop = night_stop(made)
    made.values["X"][stop] = 2.0 if quantity == "ultrasound" else 0.02
    made.values["X"][stop] += 0.002 * np.sin(made.hours[stop])
    found = made.summaries()
    assert hours(found, "X").tolist() == [14] * 8
    assert hours(found, "T").tolist() == [14] * 8
    assert row(found, "X", 7, -1)["n_total"] == 10


def test_standstill_is_kept_over_weeks(plant):
    made = plant(days=50, X="velocity")
    made.values["X"] = np.where(night_stop(made) | (made.hours >= 240), 0.02, made.values["X"])
    made.values["X"] += 0.001 * np.random.default_rng(0).random(len(made.time))
    found = hours(made.summaries(), "X")
    assert (found.loc[1:9] == 14).all()
    assert (found.loc[10:] == 0).all()


def test_a_single_fall_is_not_taken_for_standstill(plant, row):
    made = plant(days=12, X="velocity")
    fallen = made.hours >= 24 * 8
    made.values["X"][fallen] *= 0.02
    found = made.summaries()
    assert (hours(found, "X") == 24).all()
    assert row(found, "X", 11)["median"] < 0.05  # the fall is seen as a level, for detection to question


def test_a_fault_that_came_and_was_repaired_leaves_no_standstill(plant):
    made = plant(days=20, X="acceleration")
    made.values["X"][(made.hours >= 24 * 8) & (made.hours < 24 * 12)] *= 12
    assert (hours(made.summaries(), "X") == 24).all()


def test_two_speeds_without_a_tag_are_both_running(plant):
    made = plant(days=10, X="acceleration")
    made.values["X"][night_stop(made)] /= 4
    assert (hours(made.summaries(), "X") == 24).all()


def test_a_signal_that_stays_up_outvotes_one_that_fell(plant):
    made = plant(days=12, X="velocity", Y="acceleration")
    made.values["X"][(made.hours // 6) % 2 == 1] = 0.02  # a loose cable, on and off
    assert (hours(made.summaries(), "X").loc[1:] == 24).all()


def test_temperature_alone_never_tells(plant):
    made = plant(days=6, T="temperature", A="ambient")
    made.values["T"][night_stop(made)] = made.values["A"][night_stop(made)]
    assert (hours(made.summaries(), "T") == 24).all()


def test_unknown_time_runs_for_the_registers_share(plant):
    made = plant(days=2, T="temperature")
    made.bearings["running_share"] = 0.25
    assert hours(made.summaries(), "T").tolist() == [6, 6]


@pytest.mark.parametrize(("days_on", "length"), [(27, 23), (26, 24)])
def test_days_of_daylight_saving(plant, days_on, length):
    made = plant(days=30, zone="Europe/Lisbon", T="temperature")  # clocks go forward on 31 March 2024, day 27
    found = made.summaries()
    assert hours(found, "T")[days_on] == length
    assert found[found["day"] == days_on].iloc[0]["n_total"] == length


def test_a_day_of_25_hours(policy, plant):
    made = plant(days=240, zone="Europe/Lisbon", step="4h", T="temperature")  # back on 27 October 2024, day 237
    found = made.summaries()
    assert hours(found, "T")[237] == 25


def test_a_dead_tag_is_contradicted_by_the_signals(plant, row):
    made = plant(days=8, V="velocity", S="speed")
    made.values["S"][made.hours >= 24 * 5] = 0.0
    found = made.summaries()
    assert (hours(found, "V") == 24).all()
    assert row(found, "S", 6, -1)["fault"] == "zero"


def test_a_true_stop_is_not_contradicted(plant):
    made = plant(days=8, V="velocity", S="speed")
    stopped = made.hours >= 24 * 5
    made.values["S"][stopped], made.values["V"][stopped] = 0.0, 0.05
    assert hours(made.summaries(), "V").tolist() == [24] * 5 + [0] * 3


def test_starts_are_counted_over_midnight(plant, row):
    made = plant(days=3, U="ultrasound", S="speed")
    stopped = (made.hours == 47) | (made.hours == 60)
    made.values["S"][stopped], made.values["U"][stopped] = 0.0, 2.0
    found = made.summaries()
    assert row(found, "U", 2)["starts"] == 2  # 00:00 after the stop at 23:00, and 13:00


def test_points_of_other_bearings_share_the_machines_state(plant):
    made = plant(days=3, U="ultrasound", W={"quantity": "velocity", "bearing_id": "B2"}, S="speed")
    made.bearings = pd.concat([made.bearings, made.bearings.assign(bearing_id="B2")], ignore_index=True)
    made.values["S"][night_stop(made)] = 0.0
    found = made.summaries()
    assert hours(found, "W").tolist() == hours(found, "U").tolist() == [14] * 3


def test_a_sensors_own_noise_is_standstill_where_nothing_says_that_the_machine_runs(plant):
    made = plant(days=3, X="velocity", Y="acceleration")
    made.values["X"][:] = 0.004124
    made.values["Y"][:] = 0.003
    found = made.summaries()
    assert set(found["cell"]) == {-1}
    assert set(found["fault"]) == {""}


@pytest.mark.parametrize("witness", ["speed", "velocity"])
def test_a_sensors_own_noise_on_a_machine_that_runs_is_no_signal(plant, witness):
    made = plant(days=3, X="acceleration", W=witness)
    made.values["X"] = 0.002 + 0.0001 * np.sin(made.hours)
    found = made.summaries()
    assert set(found[found["point_id"] == "X"]["fault"]) == {"no_signal"}
    assert set(found[found["point_id"] == "W"]["fault"]) <= {""}


def test_a_dead_signal_does_not_keep_a_machine_running(plant, row):
    """From day one it reads the background; the other signal stops and starts every day."""
    made = plant(days=8, X="velocity", D={"quantity": "ultrasound", "bearing_id": "B1"})
    stop = night_stop(made)
    made.values["X"][stop] = 0.05 + 0.002 * np.sin(made.hours[stop])
    made.values["D"] = 8.0 + 0.1 * np.sin(made.hours)
    assert hours(made.summaries(), "X").tolist()[-3:] == [14] * 3
