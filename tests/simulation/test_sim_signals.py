from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from condlube.simulation import operating, signals
from condlube.simulation.history import hours_of, simulate_bearing_history, simulate_nights
from condlube.simulation.operating import Operation
from condlube.simulation.signals import Deviations, Healthy
from condlube.simulation.timeline import FloatArray, Timeline

N = 24 * 60
HALL = np.full(N, 25.0)


def steady(speed_rpm: float, load_pct: float = 75.0, running: bool = True) -> Operation:
    on = np.full(N, running)
    return Operation(on, np.full(N, speed_rpm), np.full(N, load_pct))


def mean_level(quantity: str, speed_rpm: float, deviations: Deviations | None = None) -> float:
    healthy = Healthy(nominal_rpm=1500.0)
    values = signals.level(
        quantity, np.random.default_rng(7), steady(speed_rpm), healthy, deviations or Deviations(), HALL
    )
    return float(np.median(values))


def test_doubled_speed_costs_6_db_of_ultrasound():
    # 20 log10 2 = 6.02 dB; the rule of the blueprint, healthy level doubles with speed
    assert mean_level("ultrasound", 1500.0) - mean_level("ultrasound", 750.0) == pytest.approx(6.02, abs=0.01)


@pytest.mark.parametrize("quantity", ["acceleration", "velocity"])
def test_doubled_speed_doubles_vibration(quantity: str):
    assert mean_level(quantity, 1500.0) / mean_level(quantity, 750.0) == pytest.approx(2.0, rel=1e-3)


def test_kurtosis_does_not_follow_speed():
    assert mean_level("kurtosis", 1500.0) == mean_level("kurtosis", 750.0) == pytest.approx(3.1, abs=0.1)


@pytest.mark.parametrize(
    ("quantity", "deviations", "change"),
    [
        ("ultrasound", Deviations(ultrasound_db=9.0), 9.0),
        ("temperature", Deviations(temperature_k=12.0), 12.0),
    ],
)
def test_deviations_add(quantity: str, deviations: Deviations, change: float):
    assert mean_level(quantity, 1500.0, deviations) - mean_level(quantity, 1500.0) == pytest.approx(change, abs=0.02)


@pytest.mark.parametrize(
    ("quantity", "deviations", "factor"),
    [
        ("acceleration", Deviations(acceleration_db=20.0), 10.0),
        ("velocity", Deviations(velocity_ratio=2.0), 2.0),
        ("kurtosis", Deviations(impulsiveness_ratio=3.0), 3.0),
    ],
)
def test_deviations_multiply(quantity: str, deviations: Deviations, factor: float):
    assert mean_level(quantity, 1500.0, deviations) / mean_level(quantity, 1500.0) == pytest.approx(factor, rel=1e-6)


def test_two_deviations_together():
    both = Deviations(ultrasound_db=2.0, velocity_ratio=1.5) + Deviations(ultrasound_db=1.0, velocity_ratio=2.0)
    assert (both.ultrasound_db, both.velocity_ratio, both.temperature_k) == (3.0, 3.0, 0.0)


def test_deviations_only_where_asked():
    part = Deviations(ultrasound_db=np.ones(4), velocity_ratio=2.0).only(np.array([True, False, True, False]))
    assert np.asarray(part.ultrasound_db).tolist() == [1, 0, 1, 0]
    assert np.asarray(part.velocity_ratio).tolist() == [2, 1, 2, 1]


def test_temperature_follows_the_hall_with_a_lag_and_sinks_to_it_at_standstill():
    healthy, rng = Healthy(nominal_rpm=1500.0, temperature_rise_k=30.0), np.random.default_rng(3)
    hall = np.where(np.arange(N) < N // 2, 20.0, 30.0)
    warm = signals.temperature(rng, steady(1500.0), healthy, Deviations(), hall, noise_k=0.0)
    assert warm[100:200].mean() == pytest.approx(50.0, abs=0.1)
    assert 51.0 < warm[N // 2] < 56.0
    assert warm[-100:].mean() == pytest.approx(60.0, abs=0.1)
    cold = signals.temperature(rng, steady(0.0, running=False), healthy, Deviations(temperature_k=20.0), hall, 0.0)
    assert cold[100:200].mean() == pytest.approx(20.0, abs=0.1)


def test_a_standing_machine_has_background_but_no_zeros():
    standing, healthy = steady(0.0, running=False), Healthy(nominal_rpm=1500.0)
    for quantity in ("ultrasound", "acceleration", "velocity", "kurtosis"):
        values = signals.level(
            quantity, np.random.default_rng(5), standing, healthy, Deviations(ultrasound_db=9.0), HALL
        )
        assert (values > 0).all()
        assert np.unique(values).size > N // 2
    assert float(signals.ultrasound(np.random.default_rng(5), standing, healthy, Deviations(9.0)).mean()) < 4.0


def timeline() -> Timeline:
    return Timeline.of(date(2025, 5, 5), date(2025, 11, 2), ZoneInfo("Europe/Madrid"))


def hours_running(profile: str) -> FloatArray:
    made = operating.PROFILES[profile](np.random.default_rng(2), timeline(), 1480.0, 600.0, 70.0)
    assert (made.speed_rpm[~made.running] == 0).all()
    assert (made.current_a(90.0)[~made.running] == 0).all()
    assert (made.current_a(90.0)[made.running] > 30).all()
    return np.asarray(made.running.mean())


def test_running_shares_of_the_profiles():
    assert hours_running("fixed") > 0.97
    assert hours_running("variable") > 0.97
    assert 2 / 168 < hours_running("standby") < 0.03
    # Monday 06:00 to Saturday 06:00 is 120 of 168 hours
    assert hours_running("weekend") == pytest.approx(120 / 168, abs=0.02)
    assert hours_running("weekend_variable") == pytest.approx(120 / 168, abs=0.02)


def test_variable_speed_covers_its_range():
    made = operating.variable(np.random.default_rng(2), timeline(), 1480.0, 600.0, 70.0)
    low, high = np.quantile(made.speed_rpm[made.running], [0.02, 0.98])
    assert 580 < low < 750
    assert 1350 < high < 1500


def test_held_speed_leaves_the_standstill():
    made = operating.weekend(np.random.default_rng(2), timeline(), 1480.0, 0.0, 70.0)
    held = operating.at_speed(made, np.ones(timeline().n, dtype=np.bool_), 900.0, 30.0)
    assert set(np.unique(held.speed_rpm)) == {0.0, 900.0}
    assert (held.running == made.running).all()


def test_history_of_one_bearing_is_its_seed():
    one, two, other = (simulate_bearing_history(np.random.default_rng(seed), 20) for seed in (1, 1, 2))
    for quantity, values in one.readings.items():
        assert len(values) == 480
        assert np.array_equal(values, two.readings[quantity])
        assert not np.array_equal(values, other.readings[quantity])


def test_history_carries_its_fault():
    from condlube.simulation import faults

    truth = faults.dry(hours_of(60), onset_h=24 * 20, days=30.0, ultrasound_db=9.0)
    sound = simulate_bearing_history(np.random.default_rng(4), 60)
    dry = simulate_bearing_history(np.random.default_rng(4), 60, truth)
    difference = (dry.readings["ultrasound"] - sound.readings["ultrasound"])[sound.operation.running]
    assert difference == pytest.approx(np.asarray(truth.ultrasound_db)[sound.operation.running], abs=1e-9)


def test_nights_with_known_onset():
    level, truth = simulate_nights(
        np.random.default_rng(0), 4000, onset_day=2000, size_db=8.0, rise_days=30.0, noise_db=0.5
    )
    assert truth[1998] == 0.0
    assert truth[2014] == pytest.approx(4.0)
    assert truth[-1] == 8.0
    assert (level - truth).std() == pytest.approx(0.5, rel=0.05)
