"""A rise that began with the recording: no healthy level was ever seen, so it is looked into and not greased."""

import numpy as np
import pytest


@pytest.mark.parametrize(("quantities", "size"), [
    (("ultrasound",), 8.0), (("ultrasound", "acceleration", "temperature"), 8.0), (("acceleration", "velocity"), 12.0),
])  # fmt: skip
def test_a_rise_of_sixty_days_from_the_first_day_on_is_inspected_not_greased(truth, quantities, size):
    fleet = truth.Fleet(20, 75, quantities, seed=9)
    scale = {"ultrasound": 1.0, "acceleration": 1.0, "velocity": 0.08, "temperature": 0.3}
    for q in quantities:
        fleet.rise[q][:] = truth.ramp(75, 0, 60, size * scale[q])
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls != "grease").all()
    assert (calls == "inspect").any(axis=1).mean() >= 0.9


def test_a_healthy_reference_is_not_taken_for_a_creeping_one(truth):
    fleet = truth.Fleet(60, 60, ("ultrasound", "acceleration", "velocity"), seed=31, speed="two", correlation=0.6)
    walked = truth.walk(fleet, truth.policy, call=False)
    taken = walked.expected.query("reference_state == 'frozen' and began == 'completed'")["taken_off"]
    assert np.mean(taken > 0.5) < 0.05


@pytest.mark.parametrize("quantity", ["acceleration", "velocity"])
def test_a_fault_inside_the_nights_of_the_first_reference_is_inspected(truth, quantity):
    fleet = truth.Fleet(20, 10, (quantity,), seed=12, tags=False)
    fleet.rise[quantity][::2] = truth.ramp(10, 0, 9, 16.0) * (np.log(10) / 20 if quantity == "velocity" else 1.0)
    walked = truth.walk(fleet, truth.policy)
    assert (walked.calls[::2, 5:] == "inspect").all(axis=1).mean() >= 0.9
    assert (walked.calls[1::2] == "hold").all()
