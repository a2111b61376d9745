"""A machine that goes over to a speed or load that no signal tells is a question, not a fault; a fault stays one."""

import numpy as np
import pandas as pd
import pytest

ALL = ("ultrasound", "acceleration", "velocity", "temperature")
SIZE = {"ultrasound": 6.0, "acceleration": 7.0, "velocity": 0.6, "temperature": 6.0}
STEP = 80


def stepped(truth, quantities=ALL, days=150, back=None, seed=1, bearings=12, scale=1.0, **fleet):
    """Machines without operating tags, all of whose signals step up together, each machine on its own night."""
    made = truth.Fleet(bearings, days, quantities, seed=seed, tags=False, **fleet)
    random = np.random.default_rng(seed)
    machine = np.arange(bearings) // made.per_machine
    size = scale * random.uniform(0.5, 1.3, bearings)[machine]
    first = STEP - 10 + 2 * machine[:, None]
    there = (np.arange(days) >= first) & (np.arange(days) < (days if back is None else first + back))
    for q in quantities:
        made.rise[q] += (SIZE[q] * size * random.uniform(0.75, 1.3, bearings))[:, None] * there
    return made


@pytest.mark.parametrize(("quantities", "back"), [(ALL, None), (ALL, 10), (("acceleration",), None)])
def test_a_new_regime_is_a_question_and_not_a_matter(truth, quantities, back):
    fleet = stepped(truth, quantities, back=back)
    walked = truth.walk(fleet, truth.policy)
    assert truth.matters(walked.calls) <= 1  # of twelve bearings; 11 to 37 where the step is taken for a fault
    raised = walked.deviations[walked.deviations["reason"] == "operating_changed"]
    assert set(raised["status"]) == {"not_testable"}
    named = walked.status[:, -1] if back is None else walked.status[:, STEP]
    assert (named == "not_testable").mean() > 0.5
    assert len(raised) > 100


def test_velocity_and_acceleration_alike_tell_it_on_a_machine_with_one_bearing(truth):
    fleet = stepped(truth, ("acceleration", "velocity"), scale=0.55, per_machine=1, seed=4)
    walked = truth.walk(fleet, truth.policy)
    assert (walked.calls == "inspect").any(axis=1).mean() <= 0.1  # all of them where the step is taken for a fault
    assert (walked.status[:, -1] == "not_testable").mean() >= 0.9


@pytest.mark.parametrize("rise", [
    {"acceleration": 6.0}, {"acceleration": 6.0, "velocity": 0.12}, {"acceleration": 14.0, "velocity": 0.9},
    {"acceleration": 6.0, "velocity": 0.5, "kurtosis": 0.4},
])  # fmt: skip
def test_the_only_bearing_of_a_machine_is_inspected_where_a_fault_steps(truth, rise):
    fleet = truth.Fleet(12, 100, ("acceleration", "velocity", "kurtosis"), seed=2, tags=False, per_machine=1)
    for q, by in rise.items():
        fleet.rise[q][:, STEP:] += by
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[:, STEP + 1 : STEP + 4] == "inspect").any(axis=1).mean() >= 0.9


def test_it_stays_a_question_for_longer_than_the_window(truth):
    walked = truth.walk(stepped(truth, ("ultrasound", "acceleration"), days=300, bearings=6), truth.policy)
    assert truth.matters(walked.calls) == 0


def test_one_bearing_that_steps_alone_is_inspected(truth):
    fleet = truth.Fleet(12, 100, ALL, seed=2, tags=False)
    for q in ("ultrasound", "acceleration", "velocity"):
        fleet.rise[q][::2, STEP:] += 1.5 * SIZE[q]
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[::2, STEP + 1 : STEP + 4] == "inspect").any(axis=1).all()
    assert (calls[1::2] == "hold").all()


def test_a_failing_bearing_that_is_heard_on_its_neighbour_is_inspected(truth):
    fleet = truth.Fleet(12, 100, ("ultrasound", "acceleration"), seed=3, tags=False)
    for q in fleet.quantities:
        fleet.rise[q][::2, STEP:] += 14.0
        fleet.rise[q][1::2, STEP:] += 5.0
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[::2, STEP + 1 : STEP + 4] == "inspect").any(axis=1).all()


def test_a_rise_that_goes_on_from_the_step_is_inspected(truth):
    fleet = stepped(truth, ("ultrasound", "acceleration"), days=110)
    for q in fleet.quantities:
        fleet.rise[q][0] += truth.ramp(110, 95, 6, 9.0)
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[0, 96:102] == "inspect").any()
    assert (calls[2:] == "hold").all()


def test_nights_in_one_call_equal_a_call_each_night(truth):
    fleet = stepped(truth, ALL, days=130, bearings=4)
    fleet.rise["velocity"][2] -= truth.ramp(130, 100, 1, 3.0)
    walked = truth.walk(fleet, truth.policy, call=False)
    every = walked.deviations
    for night in every["night"].drop_duplicates().iloc[68::11]:
        one = truth.night(fleet, walked.expected, night.date(), truth.policy)
        same = every[every["night"] == night].reset_index(drop=True)
        pd.testing.assert_frame_equal(same, one.reset_index(drop=True), check_dtype=False)
    assert "operating_changed" in set(every["reason"])
