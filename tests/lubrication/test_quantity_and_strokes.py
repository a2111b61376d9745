"""Doses, free space, first fill and strokes."""

from __future__ import annotations

import numpy as np
import pint
import pytest

from condlube.lubrication import quantity
from condlube.lubrication.result import Outside


def test_published_overlubrication_case() -> None:
    """A published case: four strokes of 2.7 cm³, nearly 11 g, into a bearing that needs 4.4 g: more than double."""
    given = 4 * 2.7  # g at about 1 g/cm³, as the article counts
    assert given > 2 * 4.4
    assert quantity.strokes(4.4, 2.7).value == 2


@pytest.mark.parametrize(
    ("dose", "gun", "strokes"),
    [(23.1, 1.3, 18), (1.0, 2.0, 1), (3.0, 2.0, 2), (0.1, 2.0, 1), (2.99, 2.0, 1), (5.0, 2.0, 3), (4.99, 2.0, 2)],
)
def test_strokes_round_half_up_and_never_to_none(dose: float, gun: float, strokes: int) -> None:
    assert quantity.strokes(dose, gun).value == strokes


def test_no_strokes_without_calibration() -> None:
    found = quantity.strokes([20.0, 20.0], [np.nan, 1.0])
    assert found.reason.tolist() == [Outside.NO_CALIBRATION, 0]
    assert np.isnan(found.value[0])


def test_groove_takes_two_fifths_of_the_side_dose() -> None:
    side, groove = quantity.relubrication_quantity(180.0, 46.0, ["side", "outer_ring_groove"])
    assert groove / side == pytest.approx(0.4)


def test_ounces_and_inches_by_a_units_library() -> None:
    units = pint.UnitRegistry()
    grams = quantity.relubrication_quantity(140.0, 33.0)
    assert float(quantity.ounces(grams)) == pytest.approx(units.Quantity(float(grams), "gram").to("ounce").magnitude)
    inches = (140.0 / 25.4) * (33.0 / 25.4)
    assert float(quantity.ounces(grams)) / inches == pytest.approx(0.11379, abs=5e-6)  # exact form of 0.114


def test_mass_that_does_not_fit() -> None:
    found = quantity.free_volume(65.0, 140.0, 33.0, [2.1, 4.0])
    assert found.outside.tolist() == [False, True]
    assert quantity.first_fill(found).outside.tolist() == [False, True]


def test_dose_above_the_free_space() -> None:
    volume = quantity.free_volume(65.0, 140.0, 33.0, [2.1, 2.1, 4.0])  # 129.3 cm³ hold 116.3 g
    found = quantity.within_free_space([100.0, 120.0, 10.0], volume)
    assert found.reason.tolist() == [0, Outside.FULL_FILL, Outside.NO_FREE_SPACE]


def test_usual_dose_is_below_the_first_fill() -> None:
    fill = quantity.first_fill(quantity.free_volume(65.0, 140.0, 33.0, 2.1))
    assert quantity.relubrication_quantity(140.0, 33.0) < fill.value


def test_fill_ranges_cover_the_common_share() -> None:
    low, high = quantity.FILL_SHARE["usual"]
    assert low <= quantity.COMMON_FILL_SHARE <= high
