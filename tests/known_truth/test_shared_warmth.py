"""Weather without an ambient signal is no matter where the machine's other bearings show it; one hot bearing is one."""

import numpy as np
import pandas as pd

DAYS = 200


def outdoors(truth, seed=1, bearings=16, **fleet):
    """Temperatures alone of machines with two bearings outdoors: a spring of 24 K and weather of 4 K over days."""
    made = truth.Fleet(bearings, DAYS, ("temperature",), seed=seed, tags=False, **fleet)
    made.ambient = np.full((bearings, DAYS), np.nan)
    weather = truth.ramp(DAYS, 30, 150, 24.0) + 4.0 * made._noise((1, DAYS), 0.7)
    made.level = lambda quantity: 45.0 + weather + 0.8 * made._noise((bearings, DAYS), 0.3)
    return made


def test_a_spring_is_no_matter(truth):
    walked = truth.walk(outdoors(truth), truth.policy)
    assert truth.matters(walked.calls) == 0
    assert (walked.status[:, 10:] == "ok").mean() >= 0.95


def test_of_one_bearing_alone_it_stays_in_doubt(truth):
    """What the rule rests on: without another bearing the same weather is looked into."""
    walked = truth.walk(outdoors(truth, per_machine=1), truth.policy)
    assert (walked.of("temperature", "deviation")[:, 150:] > 8).mean() > 0.1


def test_one_hot_bearing_is_inspected_all_the_same(truth):
    fleet = outdoors(truth)
    fleet.rise["temperature"][::2, 120:] += 22.0
    fleet.rise["temperature"][1::2, 120:] += 5.0
    calls = truth.walk(fleet, truth.policy).calls
    assert (calls[::2, 120:130] == "inspect").any(axis=1).all()
    assert (calls[1::2] == "inspect").any(axis=1).sum() <= 1  # all eight where each is judged alone


def test_both_hot_after_a_greasing_of_both_are_not_excused(truth):
    fleet = outdoors(truth)
    fleet.rise["temperature"][:, 120:] += 14.0
    greased = [
        {"event_id": f"E{k}", "kind": "relubrication", "bearing_id": f"B{k:03d}", "grease_g": 60.0,
         "time": pd.Timestamp("2023-01-01", tz="UTC") + pd.Timedelta(days=119, hours=9),
         "known_at": pd.Timestamp("2023-01-01", tz="UTC") + pd.Timedelta(days=119, hours=10)}
        for k in range(16)
    ]  # fmt: skip
    told = truth.walk(fleet, truth.policy, events=greased, call=False).of("temperature", "deviation")
    assert np.median(told[:, 121:126]) > 10.0
    alone = truth.walk(fleet, truth.policy, call=False).of("temperature", "deviation")
    assert np.median(alone[:, 121:126]) < np.median(told[:, 121:126]) - 6.0


def test_nights_in_one_call_equal_a_call_each_night(truth):
    walked = truth.walk(fleet := outdoors(truth, bearings=6), truth.policy, call=False)
    every = walked.deviations
    for night in every["night"].drop_duplicates().iloc[95::21]:
        one = truth.night(fleet, walked.expected, night.date(), truth.policy)
        same = every[every["night"] == night].reset_index(drop=True)
        pd.testing.assert_frame_equal(same, one.reset_index(drop=True), check_dtype=False)
