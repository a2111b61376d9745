"""Charts against published examples and run lengths."""

import numpy as np
import pytest

from condlube.detection.charts import cusum, cusum_run_length, ewma, ewma_run_length, limits, signals


def test_ewma_of_the_handbook_example():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: lambda 0.3, EWMA(0) = 50, s = 2.0539, k = 3."""
    data = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
            53.6, 52.1]  # fmt: skip
    printed = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38,
               49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
    np.testing.assert_allclose(ewma(np.array(data), 0.3, 50.0), printed, atol=0.0051)
    assert 50 + 3 * np.sqrt(0.3 / 1.7) * 2.0539 == pytest.approx(52.5884, abs=1e-4)  # printed upper limit


def test_cusum_of_the_handbook_example():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3: target 325, k = 0.3175, h = 4.1959."""
    data = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
            328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]  # fmt: skip
    printed_up = [0.00, 0.00, 0.00, 0.00, 0.03, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 3.01, 4.94, 7.45, 10.63,
                  11.99, 14.44, 16.00, 19.04]  # fmt: skip
    printed_down = [0.00, 0.01, 0.00, 0.33, 0.00, 0.00, 0.56, 0.72, 0.17, 0.26, 0.31, 0.00, 0.00, 0.00, 0.00, 0.00,
                    0.00, 0.00, 0.00, 0.00]  # fmt: skip
    up, down = cusum(np.array(data), 325.0, 0.3175)
    np.testing.assert_allclose(up, printed_up, atol=0.011)
    np.testing.assert_allclose(down, printed_down, atol=0.011)
    assert np.argmax(up > 4.1959) == 13  # the 14th mean signals


@pytest.mark.parametrize(("h", "shift", "published"), [(4, 0, 336), (4, 1, 8.38), (5, 0, 930), (5, 1, 10.4)])
def test_cusum_run_lengths(h, shift, published):
    """One-sided, k = 0.5: two-sided 168, 8.38, 465, 10.4 in Montgomery, Introduction to Statistical Quality Control,
    table of CUSUM run lengths (from memory); without shift the one-sided length is twice the two-sided one."""
    assert cusum_run_length(0.5, h, shift) == pytest.approx(published, rel=0.01)


@pytest.mark.parametrize(("weight", "limit", "published"), [(0.2, 2.962, 500), (0.1, 2.814, 500), (0.4, 3.054, 500)])
def test_ewma_run_lengths(weight, limit, published):
    """Two-sided EWMA, Lucas and Saccucci, Technometrics 32 (1990): schemes with run length 500 (from memory)."""
    assert ewma_run_length(weight, limit, two_sided=True) == pytest.approx(published, rel=0.01)


def test_limits_give_back_their_run_length():
    top, h = limits(0.2, 0.5, 370.0)
    assert ewma_run_length(0.2, top) == pytest.approx(370, rel=1e-3)
    assert cusum_run_length(0.5, h) == pytest.approx(370, rel=1e-3)


@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6])
def test_stated_run_length_holds_on_correlated_nights(rho):
    """In control the charts signal no sooner than stated; simulated, EWMA and CUSUM each for itself."""
    random = np.random.default_rng(7)
    stated, count, days = 200.0, 600, 600
    top, h = limits(0.2, 0.5, stated)
    z = random.normal(size=(count, days))
    for k in range(1, days):
        z[:, k] = rho * z[:, k - 1] + np.sqrt(1 - rho**2) * z[:, k]
    never = 1e9
    for ewma_limit, cusum_limit in ((top, never), (never, h)):
        first = np.full(count, days)
        for k in range(1, days):
            lo = np.arange(count, dtype=np.int64) * days
            if k % 10:
                continue
            now = signals(lo, lo + k, z.ravel(), np.ones(count), np.zeros(count), np.full(count, rho), 0.2, ewma_limit,
                          0.5, cusum_limit)  # fmt: skip
            first = np.where(now & (first == days), k, first)
        # looking every tenth night sees fewer signals than there are: compare survival, not the mean
        assert np.mean(first > stated) > 0.30  # exp(-1) = 0.37 for a geometric run length


def test_one_wild_night_does_not_signal_but_a_lasting_shift_does():
    top, h = limits(0.2, 0.5, 1000.0)
    series = np.zeros(40)
    series[-1] = 50.0
    one = (np.array([0]), np.array([40]))
    rest = (np.ones(1), np.zeros(1), np.zeros(1), 0.2, top, 0.5, h)
    assert not signals(*one, series, *rest)[0]
    series[-8:] = 2.0
    assert signals(*one, series, *rest)[0]
    series = np.concatenate([np.full(30, 8.0), np.zeros(10)])
    assert not signals(*one, series, *rest)[0]
