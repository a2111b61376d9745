"""Recordings of one week: a fault of the last two days ends with inspect, a healthy week stays silent."""

import numpy as np
import pytest

WEEK = 7


@pytest.mark.parametrize("rise", [(5.0, 11.0), (8.0, 8.0), (4.0, 14.0)])
@pytest.mark.parametrize("quantity", ["acceleration", "velocity"])
def test_a_fault_of_the_last_two_days_is_inspected(truth, rise, quantity):
    fleet = truth.Fleet(20, WEEK, ("acceleration", "velocity"), seed=6, tags=False, readings=1440)
    fleet.rise[quantity][::2, -2:] += np.array(rise) * (1.0 if quantity == "acceleration" else np.log(10) / 20)
    walked = truth.walk(fleet, truth.policy)
    assert (walked.calls[::2, -1] == "inspect").all()
    assert (walked.calls[1::2] == "hold").all()


def test_a_healthy_week_is_silent_and_its_last_nights_are_judged(truth):
    walked = truth.walk(truth.Fleet(40, WEEK, ("acceleration", "velocity"), seed=8, tags=False), truth.policy)
    assert truth.matters(walked.calls) == 0
    assert (walked.of("acceleration", "status")[:, -2:] == "assessed").all()
