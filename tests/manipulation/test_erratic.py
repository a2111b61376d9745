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
