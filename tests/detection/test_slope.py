"""Slopes against scipy and pymannkendall."""

import numpy as np
import pymannkendall
import pytest
from scipy.stats import theilslopes

from condlube.detection.slope import correction, mann_kendall, theil_sen, weekly_slopes


def test_theil_sen_equals_scipy():
    random = np.random.default_rng(3)
    x = np.sort(random.uniform(0, 90, (5, 14)), axis=1)
    y = 0.05 * x + random.normal(0, 1, (5, 14))
    y[3:] = np.cumsum(y[3:], axis=1)
    slope, low, high = np.transpose([theil_sen(*series, 1.6448536269514722) for series in zip(x, y, strict=True)])
    steps = slope * (x[:, -1] - x[:, 0]) / 13
    wider = [correction(*series) > 1 for series in zip(y, steps, strict=True)]
    assert set(wider) == {True, False}
    for k in range(5):
        outside = theilslopes(y[k], x[k], alpha=0.9)
        assert slope[k] == pytest.approx(outside.slope, abs=1e-9)
        if wider[k]:  # autocorrelation only widens
            assert low[k] <= outside.low_slope + 1e-9
            assert high[k] >= outside.high_slope - 1e-9
        else:
            assert (low[k], high[k]) == pytest.approx((outside.low_slope, outside.high_slope), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_mann_kendall_and_its_correction_equal_pymannkendall(seed):
    random = np.random.default_rng(seed)
    y = np.cumsum(random.normal(size=25)) if seed % 2 else np.round(random.normal(size=25), 1)
    plain = pymannkendall.original_test(y)
    s, variance = mann_kendall(y)
    assert (s, variance) == (plain.s, pytest.approx(plain.var_s))
    corrected = pymannkendall.hamed_rao_modification_test(y)
    if np.isfinite(corrected.var_s):
        assert correction(y, corrected.slope) * variance == pytest.approx(corrected.var_s, rel=1e-9)


def test_weekly_slopes_find_a_slow_creep_and_give_its_interval():
    random = np.random.default_rng(3)
    days = np.arange(90)
    series = [0.02 * days + random.normal(0, 0.5, 90), random.normal(0, 0.5, 90), np.zeros(10)]
    day = np.concatenate([days, days, np.arange(10)]).astype(np.int64)
    hi = np.cumsum([90, 90, 10])
    slope, low, high = weekly_slopes(hi - [90, 90, 10], hi, day, np.concatenate(series), 4)
    assert low[0] < 0.6 < high[0]  # 0.02 a day is 0.6 per 30 days
    assert low[0] > 0 > low[1]
    assert np.isnan(slope[2])


def test_gaps_and_constant_series():
    day = np.array([0, 1, 40, 41, 80, 81, 120], dtype=np.int64)
    slope, low, high = weekly_slopes(np.array([0]), np.array([7]), day, np.full(7, 2.0), 4)
    assert (slope[0], low[0], high[0]) == (0, 0, 0)
