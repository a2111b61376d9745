"""Detection delay and false matters on simulated histories with known truth; the full grid is marked ``long``."""

import numpy as np
import pytest

ALL = ("ultrasound", "acceleration", "velocity", "temperature")
BEGIN = 90


def rising(truth, length, size=8.0, noise=0.5, count=40, seed=11, correlation=0.3):
    """Walked fleet whose ultrasound rises from night 90, and the true rise of each night."""
    fleet = truth.Fleet(count, BEGIN + length + 40, seed=seed + length, correlation=correlation)
    fleet.noise["ultrasound"] = noise
    rise = truth.ramp(fleet.days, BEGIN, length, size)
    fleet.rise["ultrasound"][:] = rise
    return truth.walk(fleet, truth.policy), rise


def seen_at(walked, rise):
    """True rise when a chart first signals after the rise began; infinite where it never does."""
    chart = walked.of("ultrasound", "chart").astype(bool)[:, BEGIN:]
    return np.where(chart.any(axis=1), rise[BEGIN:][chart.argmax(axis=1)], np.inf)


def first_calls(walked, rise):
    """First call that is not hold, and the true rise on its night."""
    away = walked.calls != "hold"
    night = away.argmax(axis=1)
    calls = np.where(away.any(axis=1), walked.calls[np.arange(len(night)), night], "never")
    return calls, np.where(away.any(axis=1), rise[night], np.inf)


def test_a_rise_over_a_month_is_charted_before_4_db_and_greased_before_7_5_db(truth):
    walked, rise = rising(truth, 30)
    calls, level = first_calls(walked, rise)
    assert np.mean(seen_at(walked, rise) < 4) >= 0.9
    assert np.mean((calls == "grease") & (level < 7.5)) >= 0.9


def test_the_same_rise_within_three_days_is_inspected(truth):
    calls, _ = first_calls(*rising(truth, 3))
    assert np.mean(calls == "inspect") >= 0.9


@pytest.mark.parametrize("speed", ["fixed", "variable"])
def test_a_noisy_rise_within_three_days_is_not_greased_first(truth, speed):
    fleet = truth.Fleet(60, 45 + 3 + 20, seed=211, speed=speed)
    fleet.noise["ultrasound"] = 1.5
    fleet.rise["ultrasound"][:] = rise = truth.ramp(fleet.days, 45, 3, 8.0)
    calls, _ = first_calls(truth.walk(fleet, truth.policy), rise)
    assert np.mean(calls == "grease") <= 0.05
    assert np.mean(calls == "inspect") >= 0.9


def test_a_creep_over_most_of_a_year_is_not_absorbed(truth):
    fleet = truth.Fleet(20, 330, seed=5)
    fleet.rise["ultrasound"][:] = truth.ramp(330, 40, 280, 8.0)
    walked = truth.walk(fleet, truth.policy, call=False)
    assert (walked.of("ultrasound", "deviation").astype(float)[:, -1] > 6).all()


@pytest.mark.parametrize("speed", ["fixed", "two"])
def test_healthy_bearings_stay_silent(truth, speed):
    fleet = truth.Fleet(40, 372, ALL, seed=21, speed=speed)
    walked = truth.walk(fleet, truth.policy)
    years = fleet.bearings * (fleet.days - 7) / 365
    assert truth.matters(walked.calls) / years <= 0.1
    for quantity in ALL:
        assert (walked.of(quantity, "status") == "assessed").mean() > 0.9


def test_healthy_bearings_stay_silent_under_four_times_the_noise(truth):
    """Correlated from day to day: spells of nights that look like rises."""
    fleet = truth.Fleet(24, 372, ALL, seed=31, correlation=0.6)
    fleet.noise = {quantity: 4.0 * sd for quantity, sd in fleet.noise.items()}
    walked = truth.walk(fleet, truth.policy)
    assert truth.matters(walked.calls) / (fleet.bearings * (fleet.days - 7) / 365) <= 0.1


def test_an_empty_window_of_a_stop_is_not_a_fault(truth):
    fleet = truth.Fleet(20, 200, ("ultrasound", "temperature"), seed=9)
    fleet.cell[:, 80:110] = -1
    walked = truth.walk(fleet, truth.policy)
    assert truth.matters(walked.calls) == 0
