"""A call does not flip on noise: turns per bearing-year on healthy histories, weighed night by night.

Healthy means at the expected level with day-to-day noise (first-order correlation 0.4) and nobody acting on the call,
so that a bearing stays at the edge between hold and grease for weeks. A night within the noise counts as the median of
its last nights, as ``assessment.confirmed`` has it; without that the same histories turn ten times as often.
"""

import numpy as np
import pandas as pd
import pytest

from condlube.advisory.cost import cheapest
from condlube.assessment import kernel
from condlube.assessment.confirmed import confirmed
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import POSITION, SOURCES, tables

BEARINGS, NIGHTS, INTERVAL_D = 200, 365, 250


def noise(rng, sd):
    steps = rng.normal(0, sd * (1 - 0.4**2) ** 0.5, (BEARINGS, NIGHTS))
    made = np.empty_like(steps)
    made[:, 0] = rng.normal(0, sd, BEARINGS)
    for night in range(1, NIGHTS):
        made[:, night] = 0.4 * made[:, night - 1] + steps[:, night]
    return made


def counts(rows, policy, upper_b=2.8):
    """``confirmed`` for a machine with this upper limit of zone B."""
    return confirmed(rows, np.full(len(rows), upper_b), policy)


def weighed(policy, quantity, deviation, spread):
    """What counts of the deviations [bearings, nights] of one signal, flat."""
    nights = policy.detection.lately_nights
    before = np.pad(deviation, ((0, 0), (nights - 1, 0)), mode="edge")
    lately = np.median(np.lib.stride_tricks.sliding_window_view(before, nights, axis=1), axis=2)
    rows = pd.DataFrame({
        "quantity": quantity, "deviation": deviation.ravel(), "lately": lately.ravel(), "reference_spread": spread,
        "growth": 0.0, "onset": "none", "chart": False, "nights_over": 3, "sound_nights": 3, "expected": 2.0,
        "deviation_sd": spread * (deviation.ravel() if quantity == "velocity" else 1.0),
    })  # fmt: skip
    return counts(rows, policy)[0]


def calls(policy, sd_db, steady=True, seed=3):
    """Calls [bearings, nights] over a year that ends at up to 1.46 + 1.0 intervals, greased at 2.2 of them."""
    rng = np.random.default_rng(seed)
    x = ((rng.uniform(0, INTERVAL_D, BEARINGS)[:, None] + np.arange(NIGHTS)) % (2.2 * INTERVAL_D)) / INTERVAL_D
    values = np.full((BEARINGS * NIGHTS, len(SOURCES)), np.nan)
    signals = {"ultrasound": (noise(rng, sd_db), max(sd_db, 1.0)), "velocity": (np.exp(noise(rng, 0.04)), 0.05),
               "temperature": (noise(rng, 1.0), 1.5)}  # fmt: skip
    for name, (deviation, spread) in signals.items():
        values[:, POSITION[name]] = weighed(policy, name, deviation, spread) if steady else deviation.ravel()
    flat = x.ravel()
    column = {
        "x": flat, "x_since": flat, "running_h": flat * INTERVAL_D * 24, "days": flat * INTERVAL_D,
        "interval_h": INTERVAL_D * 24.0, "overfilled_added": 0.02, "starved_factor": 1.0,
        "overfilled_factor": 1.0, "supply_factor": 1.0,
        "damaged": 0.003, "machine_fault": 0.008, "instrument_fault": 0.005,
    }  # fmt: skip
    context = np.stack([np.broadcast_to(column[name], flat.shape) for name in CONTEXT], axis=1)
    _, cost = kernel.assess_all(context, values, tables(policy), rules(policy), costs(policy))
    left = np.ones(cost.shape, dtype=bool)
    left[flat > policy.guard.extension_cap.x_watched, 1] = False
    return cheapest(cost, left).reshape(x.shape), np.diff(x, axis=1) > 0


def turns_back(made, within_cycle):
    return ((made[:, 1:] == 1) & (made[:, :-1] != 1) & within_cycle).sum() / BEARINGS


@pytest.mark.parametrize(("sd_db", "most"), [(0.5, 0.03), (0.7, 0.06), (1.0, 0.2), (1.5, 0.6)])
def test_turns_back_per_bearing_year(policy, sd_db, most):
    """Measured: 0.00, 0.00, 0.12 and 0.35; before the median counted 0.02, 0.18, 1.0 and 3.7."""
    assert turns_back(*calls(policy, sd_db)) <= most


def test_the_median_of_the_last_nights_is_what_steadies_the_call(policy):
    assert turns_back(*calls(policy, 1.0)) < 0.2 * turns_back(*calls(policy, 1.0, steady=False))


def test_noise_alone_is_never_inspected(policy):
    made, _ = calls(policy, 1.0)
    assert (made != 2).all()


@pytest.mark.parametrize(
    "told",
    [
        {"deviation": 12.5}, {"growth": 2.5}, {"onset": "gradual"}, {"onset": "abrupt"}, {"chart": True},
        {"deviation": 9.0, "lately": 5.5}, {"lately": float("nan")},
    ],
)  # fmt: skip
def test_what_rises_is_weighed_tonight(policy, told):
    """Large, fast, begun, charted, or more than three spreads over the last nights: never the median."""
    usual = {"quantity": "ultrasound", "deviation": 6.0, "lately": 3.5, "reference_spread": 1.0, "growth": 0.0,
             "deviation_sd": 1.0, "onset": "none", "chart": False, "nights_over": 3, "sound_nights": 3,
             "expected": 2.0}  # fmt: skip
    row = pd.DataFrame([usual | told])
    counted, code = counts(row, policy)
    assert counted[0] == row["deviation"][0]
    assert code[0] == ""
    assert counts(pd.DataFrame([usual]), policy)[0][0] == 3.5


SEEN = {"ultrasound": (9.0, 1.5), "acceleration": (7.0, 1.2), "velocity": (1.8, 0.1), "temperature": (14.0, 2.5),
        "kurtosis": (2.4, 0.15)}  # fmt: skip
"""A rise of each quantity, and its ``steady_spread``."""


def seen(quantity, deviation, uncertainty, chart=True):
    row = {"quantity": quantity, "deviation": deviation, "lately": deviation, "reference_spread": 1.0, "growth": 0.0,
           "onset": "none", "chart": chart, "nights_over": 3, "sound_nights": 3, "expected": 2.0,
           "deviation_sd": uncertainty * (deviation if quantity in ("velocity", "kurtosis") else 1.0)}  # fmt: skip
    return pd.DataFrame([row])


@pytest.mark.parametrize(("quantity", "rise"), SEEN.items())
def test_a_rise_counts_in_full_unless_it_is_more_uncertain_than_is_usual(policy, quantity, rise):
    deviation, usual = rise
    counted, code = counts(seen(quantity, deviation, usual), policy)
    assert counted[0] == deviation
    assert code[0] == ""
    counted, code = counts(seen(quantity, deviation, 1.5 * usual), policy)
    off = 2.0 * 0.5 * usual  # excess_taken 2 of half of the usual
    less = deviation * np.exp(-off) if quantity in ("velocity", "kurtosis") else deviation - off
    assert counted[0] == pytest.approx(less)
    assert code[0] == "less_noise"


def test_noise_takes_no_more_than_there_is_and_falls_alike(policy):
    assert counts(seen("ultrasound", 2.0, 9.0), policy)[0][0] == 0.0
    assert counts(seen("velocity", 1.1, 0.9), policy)[0][0] == 1.0
    assert counts(seen("ultrasound", -9.0, 2.5), policy)[0][0] == pytest.approx(-7.0)


def test_the_median_of_the_last_nights_counts_less_by_its_noise_too(policy):
    assert counts(seen("temperature", 14.0, 5.5, chart=False), policy)[0][0] == pytest.approx(8.0)


@pytest.mark.parametrize(("expected", "ratio", "upper_b", "significant"), [
    (1.6, 1.4, 2.8, False), (1.6, 1.5, 2.8, True), (1.6, 1.5, 4.5, False), (1.6, 1.72, 4.5, True),
    (0.06, 1.9, 2.8, False), (0.06, 2.1, 2.8, True), (2.4, 0.75, 2.8, False), (2.4, 0.7, 2.8, True),
])  # fmt: skip
def test_a_velocity_counts_from_a_quarter_of_the_upper_limit_of_zone_b_or_doubled(
    policy, expected, ratio, upper_b, significant
):
    """ISO 20816-1, criterion II, up or down: 0.7 mm/s in group 2, rigid, and 1.125 mm/s, flexible (from memory)."""
    row = seen("velocity", ratio, 0.05).assign(expected=expected, reference_spread=0.05)
    counted, code = counts(row, policy, upper_b)
    assert counted[0] == (ratio if significant else 1.0)
    assert (code[0] == "not_significant") is not significant


def test_a_step_that_has_stood_for_a_week_counts_as_the_median_of_it(policy):
    row = seen("acceleration", 5.0, 0.4).assign(lately=4.4, reference_spread=0.4, onset="abrupt")
    assert counts(row, policy)[0][0] == 5.0
    assert counts(row.assign(nights_over=7), policy)[0][0] == 4.4
    assert counts(row.assign(nights_over=7, growth=3.0), policy)[0][0] == 5.0  # what goes on counts tonight
    assert counts(row.assign(nights_over=7, deviation=6.0), policy)[0][0] == 6.0  # and so does what leaves the level


def test_a_night_that_leaps_over_a_raised_level_waits_for_a_second(policy):
    row = seen("acceleration", 6.5, 0.4).assign(lately=4.0, reference_spread=0.4, onset="abrupt", nights_over=1)
    assert counts(row, policy)[0][0] == 4.0
    assert counts(row.assign(nights_over=2), policy)[0][0] == 6.5
    assert counts(row.assign(deviation=8.5), policy)[0][0] == 8.5  # large
    assert counts(row.assign(deviation=0.5), policy)[0][0] == 0.5  # what has come down counts at once
