from __future__ import annotations

import numpy as np
import pytest

from condlube.simulation import faults, instruments
from condlube.simulation.history import hours_of

HOURS = hours_of(100)
ONSET = 24.0 * 20


def at(values: object, hour: float) -> float:
    return float(np.broadcast_to(np.asarray(values), HOURS.shape)[int(hour)])


def test_ramp():
    course = faults.ramp(HOURS, ONSET, 10.0)
    assert [at(course, h) for h in (0, ONSET, ONSET + 120, ONSET + 240, 2000)] == [0.0, 0.0, 0.5, 1.0, 1.0]
    assert faults.ramp(HOURS, ONSET, 0.0)[[479, 480]].tolist() == [0.0, 1.0]


def test_dry_rises_to_its_size_and_stays():
    found = faults.dry(HOURS, ONSET, days=30.0, ultrasound_db=9.0)
    assert [at(found.ultrasound_db, ONSET + 24 * d) for d in (0, 15, 30, 60)] == pytest.approx([0.0, 4.5, 9.0, 9.0])
    assert found.velocity_ratio == 1.0


def test_dry_is_quiet_once_greased():
    greased = ONSET + 24 * 30
    found = faults.dry(HOURS, ONSET, days=30.0, ultrasound_db=9.0, greased_h=[greased])
    assert at(found.ultrasound_db, greased - 1) == pytest.approx(9.0, abs=0.05)
    assert at(found.ultrasound_db, greased + 5) < 0.1
    assert at(found.ultrasound_db, 2300) == pytest.approx(0.0, abs=1e-6)


def test_dry_comes_back_in_days():
    greased = ONSET + 24 * 30
    found = faults.dry(HOURS, ONSET, 30.0, 9.0, greased_h=[greased, greased + 24 * 16], returns_days=4.0)
    assert at(found.ultrasound_db, greased + 8) < 0.1
    assert at(found.ultrasound_db, greased + 24 * 5) == pytest.approx(9.0)
    assert at(found.ultrasound_db, greased + 24 * 16 + 8) < 0.1
    assert at(found.ultrasound_db, greased + 24 * 21) == pytest.approx(9.0)


def test_depletion_begins_at_four_fifths_of_the_grease_life():
    found = faults.depletion(np.array([0.0, 0.79, 0.8, 1.0, 1.25, 3.0]), ultrasound_db=8.0)
    level = np.asarray(found.ultrasound_db)
    assert level[:3].tolist() == [0.0, 0.0, 0.0]
    assert 1.0 < level[3] < 4.0
    assert level[4:] == pytest.approx([8.0, 8.0])


def test_normal_warm_up_is_14_to_17_k_for_a_day():
    # recently greased bearing +25 to 30 degF (14 to 17 K) may be normal: mounted-bearing handbook
    found = np.asarray(faults.warm_up(HOURS, ONSET, 15.0).temperature_k)
    assert found[:480].max() == 0.0
    assert found.max() == pytest.approx(15.0, rel=0.02)
    assert 1 <= int(found.argmax()) - ONSET <= 6
    assert at(found, ONSET + 30) < 1.5


def test_churning_is_still_hot_after_48_hours():
    found = faults.churning(HOURS, ONSET, temperature_k=14.0)
    assert at(found.temperature_k, ONSET + 48) > 5.0
    assert at(found.temperature_k, ONSET + 24 * 20) < 0.5
    assert at(found.ultrasound_db, ONSET + 1) < 0.0
    assert at(found.ultrasound_db, ONSET - 1) == 0.0


def test_spalling_grows_ever_faster_and_shows_in_velocity_last():
    found = faults.spalling(HOURS, ONSET, days=14.0, ultrasound_db=18.0, velocity=1.8)
    level = np.asarray(found.ultrasound_db)[480 : 480 + 14 * 24 + 1]
    assert (np.diff(level) > 0).all()
    assert (np.diff(level, 2) > 0).all()
    assert level[-1] == pytest.approx(18.0)
    assert at(found.velocity_ratio, ONSET + 24 * 7) == 1.0
    assert at(found.velocity_ratio, ONSET + 24 * 14) == pytest.approx(1.8)
    assert at(found.impulsiveness_ratio, ONSET + 24 * 3) > 1.5


def test_unbalance_touches_velocity_alone():
    found = faults.unbalance(HOURS, ONSET, velocity=2.0)
    assert np.asarray(found.velocity_ratio)[[479, 480]].tolist() == [1.0, 2.0]
    assert (found.ultrasound_db, found.acceleration_db, found.temperature_k) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("name", "sizes", "expected"),
    [
        ("dead_at_zero", {}, [1, 2, 0, 0, 5]),
        ("frozen", {}, [1, 2, 2, 2, 5]),
        ("full_scale", {"limit": 80.0}, [1, 2, 80, 80, 5]),
        ("gain_db", {"step_db": 9.0}, [1, 2, 12, 13, 5]),
        ("gain", {"factor": 0.5}, [1, 2, 1.5, 2, 5]),
        ("outage", {}, [1, 2, np.nan, np.nan, 5]),
    ],
)
def test_instrument_faults(name: str, sizes: dict[str, float], expected: list[float]):
    true = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    assert instruments.FAULTS[name](true, 2, 4, **sizes) == pytest.approx(expected, nan_ok=True)
    assert true.tolist() == [1, 2, 3, 4, 5]
