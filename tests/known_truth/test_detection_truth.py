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


def test_an_empty_window_of_a_stop_is_not_a_fault(truth):
    fleet = truth.Fleet(20, 200, ("ultrasound", "temperature"), seed=9)
    fleet.cell[:, 80:110] = -1
    walked = truth.walk(fleet, truth.policy)
    assert truth.matters(walked.calls) == 0


@pytest.mark.long
def test_operating_curve(truth):
    """Prints the grid of docs/methods/detection.md."""
    for noise in (0.5, 1.0, 1.5):
        for length in (3, 7, 14, 30, 60):
            walked, rise = rising(truth, length, noise=noise, count=100)
            calls, level = first_calls(walked, rise)
            seen = np.mean(seen_at(walked, rise) < 4)
            print(f"noise {noise} dB, 8 dB in {length} d: charted before 4 dB {seen:.2f}, "
                  f"grease {np.mean(calls == 'grease'):.2f}, inspect {np.mean(calls == 'inspect'):.2f}, "
                  f"called before 7.5 dB {np.mean(level < 7.5):.2f}")  # fmt: skip
    for scale in (1.0, 2.0, 4.0):
        for correlation in (0.0, 0.3, 0.6):
            for speed in ("fixed", "two", "variable", "changes"):
                fleet = truth.Fleet(60, 400, ALL, seed=31, speed=speed, correlation=correlation)
                fleet.noise = {q: scale * sd for q, sd in fleet.noise.items()}
                calls = truth.walk(fleet, truth.policy).calls
                rate = truth.matters(calls) / (60 * 393 / 365)
                print(f"healthy, noise x {scale}, correlation {correlation}, {speed} speed: {rate:.3f} a bearing-year")
                assert rate <= (0.1 if scale < 4 else 0.5)
