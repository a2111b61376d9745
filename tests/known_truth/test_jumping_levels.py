"""A level that leaps up and down between nights is faulty; damage that stays, and a machine that leaps, are not."""

import numpy as np
import pandas as pd

FIRST = 45


def leaping(truth, seed=1, quantities=("acceleration",), bearings=12, share=1.0, **fleet):
    made = truth.Fleet(bearings, 90, quantities, seed=seed, **fleet)
    random = np.random.default_rng(seed)
    for k in range(0, bearings, 2):
        made.rise[quantities[0]][k, FIRST:] += random.normal(0, 12.0, 90 - FIRST)
    return made


def test_leaps_from_night_to_night_are_erratic(truth):
    walked = truth.walk(leaping(truth), truth.policy)
    assert (walked.status[::2, FIRST + 8 :] == "faulty").mean() >= 0.85
    assert (walked.status[1::2, FIRST:] == "ok").mean() >= 0.95
    assert (walked.calls[::2, FIRST + 8 :] == "inspect").mean() <= 0.1
    assert (walked.calls != "grease").all()


def test_damage_that_comes_on_is_never_erratic(truth):
    fleet = truth.Fleet(12, 90, ("acceleration", "velocity"), seed=2)
    random = np.random.default_rng(2)
    fleet.rise["acceleration"][:, FIRST:] += np.linspace(0, 25, 90 - FIRST) + random.normal(0, 2.5, (12, 90 - FIRST))
    walked = truth.walk(fleet, truth.policy)
    assert "erratic" not in set(walked.deviations["reason"])
    assert (walked.calls[:, -10:] == "inspect").mean() >= 0.95


def test_a_machine_whose_signals_leap_together_is_not_erratic(truth):
    fleet = truth.Fleet(8, 90, ("acceleration", "velocity"), seed=3, tags=False)
    duty = np.where(np.random.default_rng(3).random((4, 90)) < 0.3, -12.0, 0.0).repeat(2, axis=0)
    duty[:, :FIRST] = 0.0
    fleet.rise["acceleration"] += duty
    fleet.rise["velocity"] += duty * np.log(10) / 20
    walked = truth.walk(fleet, truth.policy, call=False)
    assert "erratic" not in set(walked.deviations["reason"])


def test_it_ends_when_the_cable_is_mended(truth):
    fleet = leaping(truth)
    fleet.rise["acceleration"][:, 65:] = 0.0
    walked = truth.walk(fleet, truth.policy)
    assert (walked.status[:, 78:] == "ok").all()


def test_nights_in_one_call_equal_a_call_each_night(truth):
    fleet = leaping(truth, quantities=("acceleration", "velocity"), bearings=4)
    walked = truth.walk(fleet, truth.policy, call=False)
    every = walked.deviations
    for night in every["night"].drop_duplicates().iloc[46::7]:
        one = truth.night(fleet, walked.expected, night.date(), truth.policy)
        same = every[every["night"] == night].reset_index(drop=True)
        pd.testing.assert_frame_equal(same, one.reset_index(drop=True), check_dtype=False)
    assert "erratic" in set(every["reason"])
