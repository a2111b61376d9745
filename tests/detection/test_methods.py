"""The small kernels, each alone: growth, onset, step, persistence, steady level, response, common mode, route."""

import numpy as np
import pandas as pd
import pytest
import ruptures

from condlube.detection.common_mode import shares
from condlube.detection.growth import growth
from condlube.detection.onset import ABRUPT, GRADUAL, NONE, onset
from condlube.detection.persistence import nights_over
from condlube.detection.response import responses
from condlube.detection.route import second_reading
from condlube.detection.steady import averaged_share, steady
from condlube.detection.step import shifts, steps

ONE = np.ones(1)


def span(values):
    return np.array([0]), np.array([len(values)])


def days_of(values, days=None):
    return np.arange(len(values), dtype=np.int64) if days is None else np.asarray(days, dtype=np.int64)


def grown(values, days=None, step_share=0.5):
    values = np.asarray(values, dtype=float)
    return growth(*span(values), days_of(values, days), values, ONE, np.array([step_share]), 4.0, 8)[0]


def test_growth_is_the_rise_of_the_last_nights_in_spreads():
    assert grown([0, 0, 2, 4, 6, 8]) == pytest.approx(6.0)
    assert grown([3, 5, 7]) == pytest.approx(4.0)
    assert grown([0, 1, 3, 9]) == pytest.approx(8.7 - 2.0)  # slope over three nights, less half of what 6 has over 2
    assert grown([0, 0, 9, 9]) == pytest.approx(4.5)  # one step: half of it ...
    assert grown([0, 0, 9, 9], step_share=1.0) == 0  # ... or nothing
    assert grown([0, 3, 6, 9], step_share=1.0) == pytest.approx(9.0)  # what goes on grows all the same
    assert grown([0, -60, 5, 5]) == grown([0, 0, 5, 5])  # what comes back from a fall does not
    assert grown([9, 9, 9, 9]) == 0
    assert grown([9, 7, 6, 5]) == 0
    assert grown([0, 1, 2, 3]) == 0  # not over four spreads
    assert grown([0, 0, 0, 5]) == 0  # one night of noise
    assert grown([5, 9]) == 0
    assert grown([2, 4, 6, 9], [0, 30, 60, 90]) == 0  # a month apart is not fast
    assert grown([0, 1, 5, 6], [0, 1, 6, 7]) == 0  # a restart after five days is no growth ...
    assert grown([0, 5, 7, 9], [0, 5, 6, 7]) == pytest.approx(4.0)  # ... but what goes on after it is


def begun(values, days=None):
    values = np.asarray(values, dtype=float)
    code, day = onset(*span(values), days_of(values, days), values, ONE, 3.0, 7.0)
    return code[0], day[0]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("length", "word"), [(1, ABRUPT), (3, ABRUPT), (20, GRADUAL), (30, GRADUAL), (60, GRADUAL)])
def test_onset_by_the_length_of_the_rise(seed, length, word):
    day = np.arange(85)
    values = 8 * np.clip((day - 20) / length, 0, 1) + np.random.default_rng(seed).normal(0, 0.4, 85)
    code, began = begun(values)
    assert code == word
    assert abs(began - 20) <= max(3, length // 4)


def test_onset_says_nothing_of_a_level_that_is_low_or_was_never_seen_low():
    assert begun([0, 0, 1, 2.5]) == (NONE, -1)
    assert begun(np.full(60, 8.0)) == (NONE, -1)
    assert begun([8.0]) == (NONE, -1)


def test_onset_of_a_second_rise_is_that_of_the_second():
    values = np.concatenate([np.zeros(10), np.linspace(0, 8, 30), np.zeros(8), np.full(4, 8.0)])
    code, began = begun(values)
    assert code == ABRUPT
    assert 46 <= began <= 48


@pytest.mark.parametrize("seed", range(5))
def test_step_equals_binary_segmentation(seed):
    random = np.random.default_rng(seed)
    values = random.normal(0, 1, 60)
    values[random.integers(10, 50) :] += 4
    outside = ruptures.Binseg(model="l2", jump=1, min_size=1).fit(values).predict(n_bkps=1)[0]
    assert steps(*span(values), values)[0] == outside


def test_step_and_shift_of_short_series():
    assert steps(*span([1.0]), np.array([1.0]))[0] == -1
    values = np.array([0, 0, 0, 0, 0, 5, 5, 5.0])
    assert shifts(*span(values), days_of(values), values, np.array([5]))[0] == 5
    assert np.isnan(shifts(*span(values), days_of(values), values, np.array([0]))[0])


def test_nights_over_allows_for_noise_but_not_for_a_lone_night():
    def counted(before, now):
        before = np.asarray(before, dtype=float)
        return nights_over(*span(before), before, np.array([now]), 0 * ONE, ONE)[0]

    assert counted([0, 0, 0], 6.0) == 1
    assert counted([0, 5, 5.5], 6.0) == 3
    assert counted([0, 4.5], 9.0) == 1
    assert counted([-6, -6], -6.0) == 3
    assert counted([], 6.0) == 1


def test_steady_level_averages_noise_and_leaves_the_rest():
    before, day = np.array([0.0, 2.0, 4.0]), np.array([0, 1, 2])
    lo, hi = span(before)

    def at(now, spread, most=3):
        mean, count = steady(lo, hi, day, before, np.array([now]), np.array([spread]), ONE, np.array([most]))
        return mean[0], count[0]

    assert at(6.0, 2.0) == (4.0, 3)  # of 2, 4 and tonight's 6
    assert at(6.0, 1.0) == (6.0, 1)  # not noisier than the aim
    assert at(30.0, 2.0) == (30.0, 1)  # a clear jump
    assert at(6.0, 2.0, most=1) == (6.0, 1)


@pytest.mark.parametrize("r", [0.0, 0.3, 0.6, 0.9])
def test_the_mean_of_correlated_nights_is_less_certain(r):
    """Against the sum of all covariances of the nights."""
    for n in (1, 2, 3):
        apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        share = averaged_share(np.array([n, 3]), np.array([r, 0.5]))
        assert share[0] == pytest.approx((r**apart).sum() / n**2)
    assert averaged_share(np.array([], dtype=np.int64), np.array([])).shape == (0,)


def answered(before, after, raised=4.0):
    values = np.array([*before, *after], dtype=float)
    greased = np.array([len(before)])
    return responses(*span(values), days_of(values), values, ONE, greased, np.array([raised]), 5, 2, 0.5, 0.7, 30, 3.0)[
        0
    ]


def test_responses():
    high = [8, 8, 8, 8, 8]
    assert answered(high, [8, 1, 0, 0, 0]) == 1  # held
    assert answered(high, [8, 1, 0, 7, 8]) == 2  # returned
    assert answered(high, [8, 8, 8, 8, 8]) == 3  # none
    assert answered(high, [8, 9, 11, 12, 12]) == 4  # worse
    assert answered(high, [8, 5, 5, 5, 5]) == 0  # half way: no verdict
    assert answered(high, [8, 0]) == 0  # too early
    assert answered([1, 1, 1], [1, 0, 0, 0]) == 0  # was not raised
    assert answered(high, [8, 0, 0, *[0] * 60, 8, 8]) == 1  # a later rise is ordinary depletion


def test_route_asks_for_a_second_reading_of_a_raised_one():
    def asks(residuals, days, night):
        return second_reading(np.array(residuals, float), np.array(days), night, 3.0, 12.0, 7, 45)

    assert asks([0, 1], [0, 30], 30) == ""
    assert asks([0, 8], [0, 30], 31) == "second_reading"
    assert asks([0, 8], [0, 30], 40) == "second_reading_overdue"
    assert asks([0, 8, 7], [0, 30, 34], 34) == ""
    assert asks([0, -8], [0, 30], 31) == "second_reading"
    assert asks([-8, 8], [0, 30], 31) == "second_reading"
    assert asks([0, 14], [0, 30], 30) == ""
    assert asks([8, 8], [0, 60], 60) == "second_reading"  # too long ago to confirm
    assert asks([8], [0], 0) == "second_reading"


def test_share_counts_like_shifts_of_other_bearings_on_the_collector(policy):
    day = np.arange(20, dtype=np.int64)
    rise = {"a": 9, "b": 8, "c": 10, "d": 0, "e": -9, "f": 40}
    residual = np.concatenate([np.where(day >= 12, r, 0.0) for r in rise.values()])
    hi = 20 * np.arange(1, 7)
    targets = pd.DataFrame({
        "night": 19, "collector": "C", "bearing": [*rise], "quantity": "ultrasound", "spread": 1.0,
    })  # fmt: skip
    share = shares(targets, hi - 20, hi, np.tile(day, 6), residual, policy.detection)
    assert share[0] == pytest.approx(2 / 5)  # b and c; not d, not the fall of e, not f four times as high
    assert share[3] == 0
    alone = shares(targets.assign(collector=None), hi - 20, hi, np.tile(day, 6), residual, policy.detection)
    assert (alone == 0).all()
    same = shares(targets.assign(bearing="a"), hi - 20, hi, np.tile(day, 6), residual, policy.detection)
    assert (same == 0).all()


def test_share_of_a_slow_common_drift_is_none(policy):
    day = np.arange(40, dtype=np.int64)
    residual = np.tile(np.clip(day - 15, 0, 15) * 0.7, 6)
    hi = 40 * np.arange(1, 7)
    targets = pd.DataFrame({
        "night": 39, "collector": "C", "bearing": list("abcdef"), "quantity": "temperature", "spread": 1.5,
    })  # fmt: skip
    assert (shares(targets, hi - 40, hi, np.tile(day, 6), residual, policy.detection) == 0).all()
