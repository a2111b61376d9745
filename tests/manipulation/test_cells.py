"""Figures of a cell, against NumPy and SciPy, and the cells of a day."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from condlube.manipulation.cells import describe
from condlube.manipulation.fields import FIELDS, MEDIAN, OCTILE, P10, P90, SPREAD

values = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)


@given(st.lists(values, min_size=1, max_size=6))
def test_figures_equal_numpy_and_scipy(groups):
    value = np.concatenate(groups)
    row = np.repeat(np.arange(len(groups)), [len(g) for g in groups])
    rows = np.full((len(groups), FIELDS), np.nan)
    describe(value, row, np.ones(len(groups), bool), rows)
    for group, found in zip(groups, rows, strict=True):
        assert found[MEDIAN] == pytest.approx(np.median(group), rel=1e-12, abs=1e-9)
        assert found[P10] == pytest.approx(np.quantile(group, 0.1), rel=1e-12, abs=1e-9)
        assert found[P90] == pytest.approx(np.quantile(group, 0.9), rel=1e-12, abs=1e-9)
        assert found[SPREAD] == pytest.approx(median_abs_deviation(group, scale="normal"), rel=1e-9, abs=1e-9)
        octiles = found[OCTILE : OCTILE + 8]
        assert octiles.mean() == pytest.approx(np.mean(group), rel=1e-9, abs=1e-6)
        assert (np.diff(octiles) >= -1e-6).all()


def test_octiles_of_eight_and_of_sixteen_values():
    rows = np.full((2, FIELDS), np.nan)
    value = np.concatenate([np.arange(8.0)[::-1], np.arange(16.0)])
    describe(value, np.repeat([0, 1], [8, 16]), np.array([True, True]), rows)
    assert rows[0, OCTILE : OCTILE + 8] == pytest.approx(np.arange(8.0))
    assert rows[1, OCTILE : OCTILE + 8] == pytest.approx(np.arange(8) * 2 + 0.5)


def test_a_fixed_speed_has_one_cell_wherever_it_lies(plant):
    for rpm in (700.0, 1410.7, 1480.0, 2960.0):
        made = plant(days=3, U="ultrasound", S="speed")
        made.values["S"] = rpm * (1 + 0.002 * np.sin(made.hours))
        found = made.summaries()
        assert set(found["cell"]) == {0}
        assert found[found["point_id"] == "U"]["speed_rpm"].to_numpy() == pytest.approx(rpm, rel=0.003)


def test_speeds_part_into_cells_whose_hours_add_up(plant):
    made = plant(days=2, U="ultrasound", S="speed")
    made.values["S"] = np.where(made.hours % 24 < 6, 600.0, np.where(made.hours % 24 < 12, 900.0, 1450.0))
    found = made.summaries()
    cells = found[(found["point_id"] == "U") & (found["day"] == 1)]
    assert cells["cell"].tolist() == [0, 1, 2]
    assert cells["speed_rpm"].to_numpy() == pytest.approx([600, 900, 1450])
    assert cells["running_h"].tolist() == [6, 6, 12]
    assert cells["n"].tolist() == [6, 6, 12]


def test_never_more_than_eight_cells(plant):
    made = plant(days=2, step="10min", U="ultrasound", S="speed")
    made.values["S"] = 150 + 1400 * np.random.default_rng(0).random(len(made.time))
    found = made.summaries()
    day = found[(found["point_id"] == "U") & (found["day"] == 1)]
    assert day["cell"].tolist() == list(range(len(day)))
    assert 2 <= len(day) <= 8
    assert day["running_h"].sum() == pytest.approx(24)
    assert day["n"].sum() == 144
    assert day["speed_rpm"].is_monotonic_increasing
