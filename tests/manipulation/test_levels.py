"""The empty band between two levels of a signal."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condlube.manipulation.levels import decibel, empty_bands

BAND = (15.0, 0.02, 0.005)  # apart_db, between_share, side_share of the default policy


def band(levels, weight=None):
    levels = np.asarray(levels, float)
    weight = np.ones(len(levels)) if weight is None else np.asarray(weight, float)
    return empty_bands(levels, weight, np.zeros(len(levels), np.int64), 1, *BAND)[0]


def test_decibel_of_amplitudes_and_of_levels():
    found = decibel(np.array([1.0, 10.0, 0.0, 12.0]), np.array([True, True, True, False]))
    assert found == pytest.approx([0.0, 20.0, -120.0, 12.0])  # 20 log10(x); zero stands at 20 log10(1e-6)


def test_two_clear_levels_part_in_the_middle():
    assert band([0.0] * 50 + [30.0] * 50) == pytest.approx(15.0)


def test_three_levels_part_over_the_lowest():
    assert band([0.0] * 30 + [24.0] * 30 + [44.0] * 60) == pytest.approx(12.0)


def test_few_readings_between_are_starts_and_stops():
    assert 0 < band([0.0] * 100 + [9.0, 14.0] + [30.0] * 100) < 30
    assert np.isnan(band([0.0] * 50 + list(np.linspace(1, 29, 20)) + [30.0] * 50))


def test_one_reading_in_a_thousand_is_no_level():
    assert np.isnan(band([0.0] + [30.0] * 1000))


def test_weight_counts_as_readings():
    assert band([0.0, 30.0], [100.0, 100.0]) == pytest.approx(15.0)
    assert np.isnan(band([0.0, 30.0], [1.0, 1000.0]))


@pytest.mark.parametrize("draw", [
    lambda rng: rng.normal(20, 4, 700),
    lambda rng: rng.uniform(0, 40, 700),
    lambda rng: 20 * np.log10(rng.lognormal(0, 1.0, 700)),
    lambda rng: 20 * np.log10(rng.exponential(1.0, 700) + 0.05),
    lambda rng: np.linspace(0, 35, 700) + rng.normal(0, 0.5, 700),
    lambda rng: rng.standard_t(3, 700) * 2,
])  # fmt: skip
def test_a_single_mode_is_never_split(draw):
    for seed in range(20):
        assert np.isnan(band(draw(np.random.default_rng(seed))))


@given(st.lists(st.floats(-100, 100), min_size=0, max_size=60), st.integers(0, 1000))
def test_band_lies_between_readings_and_order_does_not_matter(levels, seed):
    found = band(levels)
    shuffled = band(np.random.default_rng(seed).permutation(np.asarray(levels, float)))
    assert (np.isnan(found) and np.isnan(shuffled)) or found == shuffled
    if not np.isnan(found):
        assert min(levels) < found < max(levels)


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(-60, 60), st.integers(1, 40)), max_size=60))
def test_a_group_has_the_band_that_it_has_alone(rows):
    of, level, weight = (np.array([row[k] for row in rows], kind) for k, kind in enumerate((np.int64, float, float)))
    alone = [band(level[of == group], weight[of == group] / 4) for group in range(4)]
    np.testing.assert_array_equal(empty_bands(level, weight / 4, of, 4, *BAND), alone)
