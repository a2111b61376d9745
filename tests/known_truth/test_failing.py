"""Bearings that fail with few signals: looked into in time, never greased, never taken for normal."""

import numpy as np
import pytest

BEGIN = 45


@pytest.mark.parametrize(("quantity", "size", "length", "noise"), [
    ("acceleration", 10.0, 40, 0.4), ("acceleration", 11.0, 22, 1.0), ("kurtosis", 1.1, 10, 0.06),
])  # fmt: skip
def test_a_bearing_with_one_signal_that_cannot_tell_dryness_is_inspected_and_not_greased(
    truth, quantity, size, length, noise
):
    fleet = truth.Fleet(20, BEGIN + length, (quantity,), seed=6)
    fleet.noise[quantity] = noise
    fleet.rise[quantity][:] = truth.ramp(fleet.days, BEGIN, length, size)
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls != "grease").all()
    assert (calls[:, :BEGIN] == "hold").all()
    assert (calls == "inspect").any(axis=1).all()


@pytest.mark.parametrize("x", [0.7, 0.9])
@pytest.mark.parametrize(("quantities", "length"), [(("acceleration",), 40), (("acceleration", "velocity"), 15)])
def test_acceleration_alone_late_in_the_interval_is_inspected_and_not_greased(truth, x, quantities, length):
    """It rises alike when grease runs out and when damage begins; ultrasound would tell."""
    fleet = truth.Fleet(20, BEGIN + length, quantities, seed=16, per_machine=1, collectors=20)
    fleet.rise["acceleration"][:] = truth.ramp(fleet.days, BEGIN, length, 10.0)
    calls = truth.walk(fleet, truth.policy, x=x).calls
    assert (calls != "grease").all()
    assert (calls[:, :BEGIN] == "hold").all()
    assert (calls[:, : BEGIN + 2 * length // 3] == "inspect").any(axis=1).mean() >= 0.9


def test_a_fault_that_stands_for_half_a_year_is_not_learned(truth):
    fleet = truth.Fleet(8, 240, ("acceleration", "velocity"), seed=7)
    fleet.rise["acceleration"][:] = truth.ramp(240, 50, 6, 9.0)
    fleet.rise["velocity"][:] = truth.ramp(240, 50, 6, 0.5)
    walked = truth.walk(fleet, truth.policy)
    assert np.mean(walked.calls[:, 60:] == "inspect") > 0.95  # noise about the turn between hold and inspect
    assert (walked.of("acceleration", "deviation").astype(float)[:, -1] > 7.5).all()


def test_a_machine_that_stood_for_a_week_comes_back_with_another_level_and_is_left_alone(truth):
    fleet = truth.Fleet(20, 80, ("acceleration", "velocity"), seed=8)
    fleet.fault[:, 40:47] = "missing"
    fleet.rise["acceleration"][:, 47:] += 2.0
    fleet.rise["velocity"][:, 47:] += 0.2
    assert truth.matters(truth.walk(fleet, truth.policy).calls) == 0
