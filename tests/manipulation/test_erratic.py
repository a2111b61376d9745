"""A signal that jumps to and fro all day is erratic; a machine that does is not."""

import numpy as np
import pytest


def faults(found, point, day):
    rows = found[(found["point_id"] == point) & (found["day"] == day)]
    return set(rows["fault"]), int(rows["n"].sum())


@pytest.mark.parametrize("wild", ["scatter", "bursts", "contact"])
@pytest.mark.parametrize("quantity", ["acceleration", "velocity"])
def test_readings_scattered_over_decades_are_no_level(plant, wild, quantity):
    made = plant(days=8, X=quantity, Y="temperature", S="speed")
    random, last = np.random.default_rng(3), slice(5 * 24, None)
    size = len(made.time[last])
    made.values["X"][last] *= {
        "scatter": 10 ** random.normal(0, 0.6, size),
        "bursts": np.where(random.random(size) < 0.4, 10 ** random.uniform(1, 2, size), 1.0),
        "contact": np.where(np.arange(size) % 2, 10 ** random.uniform(-1.8, -1.0, size), 1.0),
    }[wild]
    found = made.summaries()
    for day in (5, 6, 7):
        assert faults(found, "X", day) == ({"erratic"}, 0)
        assert faults(found, "Y", day) == ({""}, 24)
    assert all(faults(found, "X", day) == ({""}, 24) for day in range(5))


def test_heavy_tails_and_single_wild_readings_are_not_erratic(plant):
    made = plant(days=12, X="acceleration", S="speed")
    random = np.random.default_rng(4)
    made.values["X"] *= 10 ** (2.0 * random.standard_t(4, len(made.time)) / 20)
    wild = random.random(len(made.time)) < 0.04
    made.values["X"][wild] *= 10 ** random.normal(0, 1, wild.sum())
    assert "erratic" not in set(made.summaries()["fault"])


def test_steps_of_the_machine_are_its_own(plant):
    """Speed that changes every other hour by a factor of three, with and without a tag; without one another signal of
    the machine tells, and of one signal alone the steps are not told from a bad contact."""
    fast = np.arange(12 * 24) % 4 < 2
    for tagged, other in ((True, False), (False, True)):
        extra = {"S": "speed"} if tagged else {"Z": "velocity"} if other else {}
        made = plant(days=12, X="acceleration", **extra)
        made.values["X"] *= np.where(fast, 1.0, 0.3)
        for name in extra:
            made.values[name] *= np.where(fast, 1.0, 0.3)
        assert "erratic" not in set(made.summaries()["fault"])


def test_a_few_readings_a_day_tell_nothing(plant):
    made = plant(days=30, step="4h", X="acceleration", S="speed")
    made.values["X"] *= 10 ** np.random.default_rng(5).normal(0, 0.6, len(made.time))
    assert "erratic" not in set(made.summaries()["fault"])


@pytest.mark.parametrize("low", [0.0, 0.002])
def test_a_lone_signal_that_drops_out_every_other_hour_is_no_machine_that_stops(plant, low):
    made = plant(days=16, X="velocity")
    random, last = np.random.default_rng(6), slice(10 * 24, None)
    made.values["X"][last] = np.where(random.random(6 * 24) < 0.4, low, made.values["X"][last])
    found = made.summaries()
    assert all(faults(found, "X", day) == ({"erratic"}, 0) for day in range(10, 16))
    assert all(faults(found, "X", day) == ({""}, 24) for day in range(10))


def test_a_lone_machine_that_stops_and_starts_by_habit_is_sound(plant):
    made = plant(days=16, X="velocity")
    made.values["X"] = np.where(np.arange(16 * 24) % 4 < 2, made.values["X"], 0.02)
    assert "erratic" not in set(made.summaries()["fault"])


def test_two_signals_that_drop_together_are_a_machine_that_stops(plant):
    made = plant(days=16, X="velocity", Y="acceleration")
    stops = (np.random.default_rng(7).random(16 * 24) < 0.4) & (np.arange(16 * 24) >= 10 * 24)
    for name in "XY":
        made.values[name] = np.where(stops, 0.02 * made.values[name], made.values[name])
    assert "erratic" not in set(made.summaries()["fault"])


def test_what_was_erratic_stays_so_while_it_jumps_half_as_often(plant):
    made = plant(days=16, X="acceleration", S="speed")
    random, size = np.random.default_rng(8), 4 * 24
    for first, share in ((6, 0.4), (10, 0.12), (14, 0.0)):
        part = slice(first * 24, min(first + 4, 16) * 24)
        wild = random.random(size)[: part.stop - part.start] < share
        made.values["X"][part] *= np.where(wild, 10 ** random.uniform(1, 2, len(wild)), 1.0)
    found = made.summaries()
    assert all(faults(found, "X", day) == ({"erratic"}, 0) for day in range(6, 12))
    assert all(faults(found, "X", day) == ({""}, 24) for day in (14, 15))


def test_a_signal_that_hits_its_rails_is_erratic_though_its_readings_repeat(plant):
    made = plant(days=9, X="acceleration", Y="velocity", Z="velocity")
    made.values["X"][5 * 24 :] = np.where(np.random.default_rng(9).random(4 * 24) < 0.5, 50.0, 0.01)
    found = made.summaries()
    assert all(faults(found, "X", day) == ({"erratic"}, 0) for day in range(5, 9))


def test_a_coarse_reading_that_flickers_between_zero_and_its_lowest_step_is_not_erratic(plant):
    made = plant(days=9, X="velocity", S="speed")
    made.values["X"] = np.where(np.random.default_rng(10).random(9 * 24) < 0.5, 0.1, 0.0)
    assert "erratic" not in set(made.summaries()["fault"])
