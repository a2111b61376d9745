"""Held values and the thermal lag."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import solve_ivp

HOUR = 3.6e9


def test_lag_solves_the_differential_equation(plant, row):
    """Ambient steps from 20 to 35 degC at 06:00; the reference is SciPy's integrator on y' = (x - y) / 2 h."""
    made = plant(days=3, T="temperature", A="ambient")
    made.values["A"] = np.where((made.hours >= 54), 35.0, 20.0)
    found = row(made.summaries(), "T", 2)
    solved = solve_ivp(lambda t, y: (35.0 - y) / 2.0, (0, 18), [20.0], t_eval=np.arange(18), rtol=1e-10, atol=1e-10)
    assert found["ambient_lagged_degc"] == pytest.approx(np.mean([*[20.0] * 6, *solved.y[0]]), abs=1e-6)
    assert found["ambient_degc"] == pytest.approx((6 * 20 + 18 * 35) / 24)


def test_lag_reaches_back_into_the_day_before(plant, row):
    made = plant(days=2, T="temperature", A="ambient")
    made.values["A"] = np.where(made.hours >= 23, 35.0, 20.0)
    found = row(made.summaries(), "T", 1)
    elapsed = np.arange(1, 25)
    assert found["ambient_lagged_degc"] == pytest.approx(np.mean(35 - 15 * np.exp(-elapsed / 2)), abs=1e-6)
    assert found["ambient_degc"] == 35


def test_only_temperature_has_lagged_conditions(plant, row):
    made = plant(days=2, T="temperature", U="ultrasound", S="speed", A="ambient")
    found = made.summaries()
    assert np.isnan(row(found, "U", 1)["speed_lagged_rpm"])
    assert row(found, "T", 1)["speed_lagged_rpm"] == pytest.approx(1480, rel=0.05)


def test_a_reading_speaks_until_the_next_and_not_for_ever(plant, row):
    made = plant(days=2, step="10min", U="ultrasound", S="speed")
    made.values["S"][:] = 740.0
    table = made.readings()
    seldom = table["time"].dt.hour.isin([0, 6]) & (table["time"].dt.minute == 0)
    found = made.summaries(table=table[(table["point_id"] != "S") | seldom])
    # from 06:00 the speed is held for 12 h (hold_h); after that it is the register's 1480
    assert row(found, "U", 1, 0)["running_h"] == pytest.approx(18 + 10 / 60, abs=0.2)
    assert row(found, "U", 1, 0)["speed_rpm"] == pytest.approx(740)
    assert row(found, "U", 1, 1)["speed_rpm"] == pytest.approx(1480)


def test_load_is_load_else_current_else_power(plant, row):
    for names, expected in ((("L", "C", "P"), 75.0), (("C", "P"), 20.0), (("P",), 11.0)):
        made = plant(days=2, U="ultrasound", **{n: {"L": "load", "C": "current", "P": "power"}[n] for n in names})
        assert row(made.summaries(), "U", 1)["load"] == pytest.approx(expected, rel=0.05)


def test_speed_tag_of_one_bearing_serves_another_in_the_ratio_of_their_register_speeds(plant, row):
    made = plant(days=2, U={"quantity": "ultrasound", "bearing_id": "B2"}, S={"quantity": "speed", "bearing_id": "B1"})
    fan = made.bearings.assign(bearing_id="B2", speed_rpm=740.0, speed_min_rpm=74.0)
    made.bearings = pd.concat([made.bearings, fan], ignore_index=True)
    made.values["S"][:] = 1200.0
    assert row(made.summaries(), "U", 1)["speed_rpm"] == pytest.approx(600.0)


def test_machine_ambient_goes_before_the_plants(plant, row):
    made = plant(days=2, T="temperature", A1={"quantity": "ambient", "plant_wide": True}, A2="ambient")
    made.values["A1"][:], made.values["A2"][:] = 10.0, 30.0
    found = made.summaries()
    assert row(found, "T", 1)["ambient_degc"] == 30
    assert set(found["point_id"]) == {"T", "A2"}  # plant-wide points have no rows
