"""Neighbours that hear a failing bearing of their machine are told so, and a second fault is found all the same."""

import numpy as np
import pandas as pd
import pytest

from condlube.advisory.guard_codes import TAKES
from condlube.explain.phrases import GUARDS, REASONS

DAYS, BEGAN, MACHINES = 60, 40, 5


def decibel(over):
    """An amplitude that stands so many times its usual level over it, in dB."""
    return 20 * np.log10(1 + over)


def failing(days, first, end):
    """Amplitude over the usual one of a bearing that fails on the last day, in times of it."""
    part = np.clip((np.arange(days) - first) / (days - 1 - first), 0, 1)
    return end * np.expm1(3 * part) / np.expm1(3)


def rigs(truth, share, add, second=None, seed=5, quantity="acceleration", **fleet):
    """Machines of four bearings, the first of which fails; ``share`` of its amplitude is heard on the others, added as
    amplitudes or as powers. ``second``: how far the third bearing rises by a fault of its own from day 48 on."""
    made = truth.Fleet(4 * MACHINES, DAYS, (quantity,), seed=seed, tags=False, per_machine=4, **fleet)
    first, own = failing(DAYS, BEGAN, 9.0), failing(DAYS, 48, second or 0.0)
    heard = share * first if add == "amplitudes" else np.sqrt(1 + (share * first) ** 2) - 1
    for k in range(made.bearings):
        rise = first if k % 4 == 0 else heard + own if k % 4 == 2 else heard
        made.rise[quantity][k] += decibel(rise) * (np.log(10) / 20 if quantity == "velocity" else 1.0)
    return made


@pytest.mark.parametrize("quantity", ["acceleration", "ultrasound", "velocity"])
@pytest.mark.parametrize("add", ["amplitudes", "powers"])
def test_neighbours_that_hear_a_failing_bearing_are_not_inspected(truth, add, quantity):
    walked = truth.walk(rigs(truth, 0.2, add, quantity=quantity), truth.policy)
    place = np.arange(4 * MACHINES) % 4
    assert (walked.calls[place == 0][:, -7:] == "inspect").all()  # of the others, by acceleration, 13 and all 15 before
    assert (walked.calls[place != 0] == "inspect").any(axis=1).sum() <= 1
    assert (walked.calls != "grease").all()
    told = walked.deviations[walked.deviations["reason"] == "heard_beside"]
    assert set(told["status"]) == {"not_testable"}
    assert not told["bearing_id"].isin([f"B{k:03d}" for k in range(0, 4 * MACHINES, 4)]).any()
    assert (walked.status[place != 0][:, -1] == "not_testable").mean() >= 0.9


@pytest.mark.parametrize(("second", "found"), [(8.0, 1.0), (5.0, 0.8)])
def test_a_second_fault_is_inspected_beside_the_first(truth, second, found):
    walked = truth.walk(rigs(truth, 0.2, "amplitudes", second), truth.policy)
    own = walked.calls[2::4][:, 48:]
    assert (own == "inspect").any(axis=1).mean() >= found
    assert (walked.calls[0::4][:, -5:] == "inspect").all()


def test_the_first_to_rise_is_never_heard_on_the_one_that_outgrows_it(truth):
    fleet = truth.Fleet(8, DAYS, ("acceleration",), seed=6, tags=False)
    fleet.rise["acceleration"][0::2, 35:] += decibel(1.5)
    fleet.rise["acceleration"][1::2] += decibel(failing(DAYS, 45, 9.0))
    walked = truth.walk(fleet, truth.policy)
    first = walked.deviations[walked.deviations["bearing_id"].isin([f"B{k:03d}" for k in range(0, 8, 2)])]
    assert "heard_beside" not in set(first["reason"])


def test_a_neighbour_that_stays_up_when_the_failing_one_was_mended_is_judged(truth):
    fleet = rigs(truth, 0.25, "amplitudes")
    fleet.rise["acceleration"][0::4, 55:] = 0.0
    walked = truth.walk(fleet, truth.policy)
    late = walked.deviations[walked.deviations["night"] >= walked.deviations["night"].max() - pd.Timedelta(days=4)]
    assert "heard_beside" not in set(late["reason"])


def test_a_healthy_rig_hears_nobody(truth):
    fleet = truth.Fleet(24, 120, ("acceleration", "velocity"), seed=7, tags=False, per_machine=4)
    assert "heard_beside" not in set(truth.walk(fleet, truth.policy, call=False).deviations["reason"])


def test_nights_in_one_call_equal_a_call_each_night(truth):
    walked = truth.walk(fleet := rigs(truth, 0.2, "powers", 5.0), truth.policy, call=False)
    every = walked.deviations
    for night in every["night"].drop_duplicates().iloc[44::5]:
        one = truth.night(fleet, walked.expected, night.date(), truth.policy)
        same = every[every["night"] == night].reset_index(drop=True)
        pd.testing.assert_frame_equal(same, one.reset_index(drop=True), check_dtype=False)
    assert "heard_beside" in set(every["reason"])


def test_it_has_its_words_and_takes_grease_away():
    assert "neighbour" in REASONS["heard_beside"]
    assert "neighbour" in GUARDS["heard_beside"]
    assert TAKES["heard_beside"] == ("grease",)
