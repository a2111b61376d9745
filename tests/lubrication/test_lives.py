"""Grease life, its distribution and dates; rating life and a_ISO."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import weibull_min

from condlube.errors import InvalidArgument
from condlube.lubrication import grease_life, life_distribution, life_modification, rating_life, replacement
from condlube.lubrication.result import Outside

BALL = "deep_groove_ball"


def test_distribution_goes_through_both_published_points() -> None:
    assert life_distribution.failed_share([1.0, 2.7], 1.0) == pytest.approx([0.01, 0.10], abs=1e-12)


def test_distribution_against_scipy() -> None:
    """scipy.stats.weibull_min(c=slope, scale=L01 / (−ln 0.99)^(1/slope)).cdf(t)."""
    slope = life_distribution.SLOPE
    law = weibull_min(c=slope, scale=1000.0 / (-np.log(0.99)) ** (1 / slope))
    hours = np.linspace(0.0, 12_000.0, 50)
    np.testing.assert_allclose(life_distribution.failed_share(hours, 1000.0), law.cdf(hours), atol=1e-12)
    np.testing.assert_allclose(life_distribution.life_at([10.0, 50.0], 1000.0), law.ppf([0.1, 0.5]), rtol=1e-12)
    conditional = (law.cdf(3000.0) - law.cdf(2000.0)) / law.sf(2000.0)
    assert float(life_distribution.failing_share(2000.0, 1000.0, 1000.0)) == pytest.approx(conditional)


def test_sealed_life_clamps_are_those_of_the_source() -> None:
    assert grease_life.sealed_grease_life(0.1, 20.0).value == grease_life.sealed_grease_life(0.25, 70.0).value


@pytest.mark.parametrize(
    ("share", "degc", "grease", "load", "reason"),
    [
        (1.01, 80, "general", 0.1, Outside.ABOVE_LIMITING_SPEED), (0.5, 111, "general", 0.1, Outside.TOO_HOT),
        (0.5, 131, "wide_range", 0.1, Outside.TOO_HOT), (0.5, -11, "general", 0.1, Outside.TOO_COLD),
        (0.5, -41, "wide_range", 0.1, Outside.TOO_COLD), (0.5, 80, "general", 0.11, Outside.LOAD_BEYOND_TENTH),
    ],
)  # fmt: skip
def test_sealed_life_outside(share: float, degc: float, grease: str, load: float, reason: Outside) -> None:
    assert grease_life.sealed_grease_life(share, degc, grease, load).reason == reason


def test_half_lives_halve() -> None:
    """0.301 is log10 2: one subtraction is one halving, to four figures."""
    one = grease_life.median_grease_life(100.0, [0.0, 1.0]).value
    assert one[0] / one[1] == pytest.approx(2.0, rel=1e-3)
    s = grease_life.half_life_subtractions(3000, 25, 500, 14_000, 300_000)
    assert float(s) == pytest.approx(0.86 * 75_000 / 300_000 + 0.61 * 75_000 * 500 / 14_000**2)  # worked by hand


def test_end_of_grease_life_dates() -> None:
    life = grease_life.sealed_grease_life([0.5, 0.5, 1.2], 90.0)  # 3388 h, catalogue equation
    found = replacement.end_of_grease_life(life, [0.0, 3388.4416, 0.0], np.datetime64("2026-01-01"), 24.0)
    assert found.expected[0] == np.datetime64("2026-01-01") + np.timedelta64(142, "D")  # 3388.44 / 24 = 141.2 days
    assert found.expected[1] == np.datetime64("2026-01-01")
    assert found.failed[:2] == pytest.approx([0.0, 0.5], abs=1e-6)
    assert np.isnat(found.expected[2])
    assert np.isnan(found.failing[2])
    assert found.early[0] < found.expected[0]


@pytest.mark.parametrize("bad", ["2026-01-01", None, 20260101, np.datetime64("NaT")])
def test_as_of_is_a_date(bad: object) -> None:
    with pytest.raises(InvalidArgument, match="as_of"):
        replacement.end_of_grease_life(grease_life.sealed_grease_life(0.5, 90.0), 0.0, bad)  # type: ignore[arg-type]


def test_load_beyond_half_is_outside() -> None:
    found = rating_life.rating_life(1800, [1.9, 2.0], BALL)
    assert found.reason.tolist() == [Outside.LOAD_BEYOND_HALF, 0]


def test_older_a1_follow_slope_one_and_a_half() -> None:
    for percent, a1 in rating_life.A1_OLDER.items():
        assert a1 == pytest.approx((np.log(percent / 100) / np.log(0.9)) ** (1 / rating_life.FATIGUE_SLOPE), abs=0.005)


def test_fatigue_share_at_l10() -> None:
    assert rating_life.fatigue_share([0.0, 1000.0], 1000.0) == pytest.approx([0.0, 0.1])


@pytest.mark.parametrize("bearing_type", [BALL, "spherical_roller", "thrust_ball", "spherical_roller_thrust"])
def test_a_iso_joints(bearing_type: str) -> None:
    """Continuous at κ = 1 and 4 and at x = 5; the printed constants leave a step below 0.1 % at κ = 0.4."""
    factor = life_modification.life_modification_factor
    for joint, step in ((0.4, 1e-3), (1.0, 1e-7), (4.0, 1e-7)):
        below, above = (factor(joint * (1 + sign * 1e-10), 0.1, bearing_type).value for sign in (-1, 1))
        assert above / below == pytest.approx(1.0, abs=step)
    assert factor(1.0, 5.0, bearing_type).value == factor(1.0, 500.0, bearing_type).value


def test_a_iso_bounds() -> None:
    found = life_modification.life_modification_factor([0.1, 4.0, 0.0999], [0.0, 5.0, 1.0], BALL)
    assert found.value[:2] == pytest.approx([0.1, 50.0])
    assert found.reason[2] == Outside.KAPPA_TOO_LOW


def test_thrust_bearings_take_a_third_of_x() -> None:
    factor = life_modification.life_modification_factor
    assert factor(1.0, 0.3, "thrust_ball").value == pytest.approx(factor(1.0, 0.1, BALL).value)
    assert factor(1.0, 0.25, "spherical_roller_thrust").value == pytest.approx(
        factor(1.0, 0.1, "spherical_roller").value
    )


def test_contamination_is_ordered() -> None:
    found = rating_life.contamination_factor_ec(1.0, 100.0, list(rating_life.GREASE_CONTAMINATION))
    assert (np.diff(found) < 0).all()
    assert rating_life.contamination_factor_ec(1.0, 30.0, "very_severe") == 0.0
