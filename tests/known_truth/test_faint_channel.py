"""A lone channel that hardly moves for weeks near a sensor's own noise is never health."""

import numpy as np
import pandas as pd
import pytest

DAYS = 60
TOLD = ["point_id", "status", "reason", "deviation"]


def lone(truth, quantity, level, noise, tags, seed=1):
    made = truth.Fleet(8, DAYS, (quantity,), seed=seed, tags=tags, per_machine=1)
    if tags:
        made.rpm = made.rpm + made.random.normal(0, 2, made.rpm.shape)
    scale = np.log(10) / 20 if quantity == "velocity" else 1.0
    made.level = lambda quantity: (level + noise * made._noise((8, DAYS), 0.3)) * scale
    return made


@pytest.mark.parametrize(("quantity", "floor"), [("acceleration", 0.012), ("velocity", 0.03)])
def test_a_faint_channel_that_never_moves_is_named(truth, quantity, floor):
    """Of a machine that a tag says to run the sensor is dead; without one a machine that stands reads the same."""
    level = 20 * np.log10(floor)
    untold = truth.walk(lone(truth, quantity, level, 0.03, tags=False), truth.policy)
    assert (untold.status[:, 15:] == "not_testable").all()
    assert set(untold.deviations.loc[untold.deviations["reason"] == "faint", "status"]) == {"not_testable"}
    dead = truth.walk(lone(truth, quantity, level, 0.03, tags=True), truth.policy)
    assert (dead.status[:, 15:] == "faulty").all()
    assert (untold.calls == "hold").all()


@pytest.mark.parametrize(("floor", "noise"), [(0.1, 0.03), (0.012, 0.3)])
def test_steady_but_not_faint_and_faint_but_alive_are_levels(truth, floor, noise):
    """A bearing that runs as evenly as that is louder; one that is as quiet moves more."""
    walked = truth.walk(lone(truth, "acceleration", 20 * np.log10(floor), noise, tags=False), truth.policy)
    assert "faint" not in set(walked.deviations["reason"])
    assert (walked.status[:, 15:] == "ok").mean() >= 0.95


def test_a_faint_channel_that_wakes_is_judged(truth):
    fleet = lone(truth, "acceleration", 20 * np.log10(0.012), 0.03, tags=False)
    fleet.rise["acceleration"][:, 40:] += truth.ramp(20, 0, 8, 16.0)
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[:, -8:] == "inspect").any(axis=1).all()


def test_nights_in_one_call_equal_a_call_each_night(truth):
    walked = truth.walk(fleet := lone(truth, "acceleration", -38.4, 0.03, tags=False), truth.policy, call=False)
    every = walked.deviations
    for night in every["night"].drop_duplicates().iloc[10::9]:
        one = truth.night(fleet, walked.expected, night.date(), truth.policy)
        same = every[every["night"] == night].reset_index(drop=True)
        pd.testing.assert_frame_equal(same[TOLD], one.reset_index(drop=True)[TOLD])
    assert "faint" in set(every["reason"])
