"""Order statistics of the kernels, against NumPy."""

import numpy as np
import pytest

from condlube.manipulation.kernel import medians, select, sliding_quantiles


@pytest.mark.parametrize("values", [np.arange(50.0), np.zeros(7), np.array([3.0]), np.array([2.0, 1.0, 2.0, 1.0, 2.0])])
@pytest.mark.parametrize("seed", range(3))
def test_the_value_at_a_place_is_the_sorted_one_and_parts_the_others(values, seed):
    drawn = np.random.default_rng(seed).permutation(values)
    for place in range(len(drawn)):
        work = np.concatenate([[99.0], drawn, [-99.0]])
        found = select(work, 1, len(work) - 1, place + 1)
        assert found == np.sort(drawn)[place]
        assert (work[1 : place + 1] <= found).all()
        assert (work[place + 1 : -1] >= found).all()
        assert work[0] == 99.0
        assert work[-1] == -99.0
        np.testing.assert_array_equal(np.sort(work[1:-1]), np.sort(drawn))


@pytest.mark.parametrize("seed", range(5))
def test_sliding_quantiles_are_those_of_numpy_in_any_order(seed):
    rng = np.random.default_rng(seed)
    value = np.round(rng.normal(size=300), 1)  # with ties
    hi = rng.integers(0, 300, 80)
    lo = np.maximum(hi - rng.integers(0, 60, 80), 0)
    for order in (np.lexsort((hi, lo)), rng.permutation(80)):
        low, high = sliding_quantiles(value, lo, hi, order, 0.05, 0.95)
        for k in range(80):
            own = value[lo[k] : hi[k]]
            wanted = np.quantile(own, [0.05, 0.95]) if len(own) else [np.nan, np.nan]
            np.testing.assert_allclose([low[k], high[k]], wanted, rtol=1e-12)


def test_medians_are_those_of_numpy_and_leave_the_rows_as_they_were():
    value = np.random.default_rng(1).normal(size=100)
    kept = value.copy()
    first, stop = np.array([0, 5, 40, 7]), np.array([33, 6, 100, 7])
    made = medians(value, first, stop)
    np.testing.assert_array_equal(value, kept)
    np.testing.assert_allclose(made[:3], [np.median(value[a:b]) for a, b in zip(first[:3], stop[:3], strict=True)])
    assert np.isnan(made[3])
