"""Vibration zones, alarm settings and conversions."""

from __future__ import annotations

import numpy as np
import pint
import pytest

from condlube.lubrication import classes, severity
from condlube.lubrication import vibration_units as units
from condlube.lubrication.result import Outside
from condlube.schema import words


def test_a_value_on_a_limit_belongs_to_the_severe_zone() -> None:
    found = severity.machine_zone([1.4, 2.8, 4.5], 100.0, "rigid", 1500.0)
    assert found.zone.tolist() == ["B", "C", "D"]


def test_group_changes_above_300_kw() -> None:
    found = severity.machine_zone(1.5, [300.0, 300.1], "rigid", 1500.0)
    assert found.zone.tolist() == ["B", "A"]


@pytest.mark.parametrize(
    ("power", "speed", "reason"),
    [(15.0, 1500.0, Outside.POWER_OUT_OF_SCOPE), (50_001.0, 1500.0, Outside.POWER_OUT_OF_SCOPE),
     (100.0, 119.0, Outside.SPEED_OUT_OF_SCOPE), (100.0, 30_001.0, Outside.SPEED_OUT_OF_SCOPE)],
)  # fmt: skip
def test_scope(power: float, speed: float, reason: Outside) -> None:
    found = severity.machine_zone(2.0, power, "rigid", speed)
    assert found.reason == reason
    assert found.outside
    assert str(found.zone) == ""
    assert np.isnan(found.limits_mm_s_rms).all()


def test_pump_limits_change_at_200_kw() -> None:
    found = severity.pump_zone(4.1, [200.0, 200.1], "I")
    assert found.zone.tolist() == ["C", "B"]
    assert severity.pump_zone(1.0, 1.0).outside


def test_zones_of_a_fleet_broadcast() -> None:
    found = severity.machine_zone(np.ones((4, 1)), [100.0, 400.0, 10.0], ["rigid", "flexible", "rigid"], 1500.0)
    assert found.zone.shape == (4, 3)
    assert found.limits_mm_s_rms.shape == (4, 3, 3)


def test_alarm_rule() -> None:
    alarm, trip = severity.alarm_and_trip([1.2, 3.4], 2.8, 4.5)
    assert alarm == pytest.approx([1.9, 3.5])  # references section 6: 1.2 + 0.25·2.8; cap 1.25·2.8
    assert trip == pytest.approx(5.625)


def test_change_up_or_down_is_significant() -> None:
    assert severity.significant_change([0.71, -0.71, 0.69], 2.8).tolist() == [True, True, False]


def test_displacement_against_a_units_library() -> None:
    """25 Hz sine: x = v/(2πf); 2.8 mm/s rms is 50.4 µm peak to peak."""
    registry = pint.UnitRegistry()
    speed = registry.Quantity(2.8 * np.sqrt(2), "mm/s")
    peak = (speed / registry.Quantity(2 * np.pi * 25, "1/s")).to("micrometer").magnitude
    assert float(units.displacement_um_peak_to_peak(2.8, 25.0)) == pytest.approx(2 * peak)
    assert float(units.velocity_mm_s_rms(2 * peak, 25.0)) == pytest.approx(2.8)


def test_peak_and_decibels_round_trip() -> None:
    assert units.peak_from_rms(units.rms_from_peak(3.3)) == pytest.approx(3.3)
    assert units.decibels(units.amplitude_ratio([-12.0, 0.0, 8.0])) == pytest.approx([-12.0, 0.0, 8.0])


def test_mean_of_equal_levels_is_the_level() -> None:
    assert float(units.mean_level_db([40.0, 40.0, 40.0])) == pytest.approx(40.0)
    assert float(units.mean_level_db([40.0, 43.0103])) == pytest.approx(41.7609, abs=1e-4)  # energies 1 and 2, mean 1.5


def test_class_names_are_those_of_the_register() -> None:
    assert words.BEARING_TYPES == classes.BEARING_TYPES
    assert words.CONTAMINATIONS == classes.CONTAMINATIONS
    assert words.MOISTURES == classes.MOISTURES
    assert words.ORIENTATIONS == classes.ORIENTATIONS
    assert words.SEALS == classes.SEALS
    assert words.RINGS == classes.ROTATING_RINGS
    assert words.SUPPORTS == classes.SUPPORTS
