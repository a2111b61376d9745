"""What the condition data cannot say is named in ``condition_status``, also where other signals are sound."""

import numpy as np
import pytest


@pytest.mark.parametrize("fall", [6.0, 10.0, 14.0])
def test_the_fall_of_one_signal_while_another_is_sound_is_named(truth, fall):
    fleet = truth.Fleet(20, 60, ("ultrasound", "acceleration"), seed=3)
    fleet.rise["ultrasound"][:, 50:] -= fall
    walked = truth.walk(fleet, truth.policy)
    assert (walked.status[:, 30:50] == "ok").all()
    assert np.mean(walked.status[:, 50:] == "state_unclear") >= 0.95
    assert (walked.calls != "grease").all()


def test_a_dead_signal_beside_a_sound_one_is_named(truth):
    fleet = truth.Fleet(6, 50, ("velocity", "temperature"), seed=4)
    fleet.rise["velocity"][:, 40:] -= 3.0  # 26 dB: under the silence of the policy
    walked = truth.walk(fleet, truth.policy)
    assert (walked.status[:, 40:] != "ok").all()
