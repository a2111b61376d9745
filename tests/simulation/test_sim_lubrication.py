from __future__ import annotations

import numpy as np
import pytest

from condlube.simulation.lubrication import (
    Conditions,
    grease_life,
    greasing_hours,
    interval_h,
    life_since,
    life_used,
)


def test_interval_of_the_handbook_example():
    # 14e6/(1000*sqrt(100)) - 4*100 = 1000, times 10: the worked example n = 1000, d = 100 of the trade formula
    found = interval_h(Conditions("deep_groove_ball", 100.0), np.array([1000.0]), np.array([60.0]))
    assert found == pytest.approx([10_000.0])


def test_hot_rings_halve_it_per_15_k():
    found = interval_h(Conditions("deep_groove_ball", 100.0), np.full(3, 1000.0), np.array([70.0, 85.0, 100.0]))
    assert found == pytest.approx([10_000.0, 5_000.0, 2_500.0])


def test_the_manual_goes_first():
    conditions = Conditions("spherical_roller", 100.0, manual_interval_h=4400.0)
    assert interval_h(conditions, np.array([990.0]), np.array([50.0])) == pytest.approx([4400.0])


def test_running_hours_count_by_the_interval_and_standing_by_the_calendar():
    running = np.array([True, False, True, True])
    # 24 months of 730.5 h
    assert life_used(np.full(4, 100.0), running, 24.0)[-1] == pytest.approx(0.03 + 1 / (24 * 730.5))


@pytest.mark.parametrize("x_end", [0.1, 0.5, 1.1])
def test_greased_so_that_the_wanted_share_is_used_up(x_end: float):
    rng = np.random.default_rng(1)
    used = life_used(rng.uniform(2000, 4000, 12_000), rng.random(12_000) < 0.9, 24.0)
    greased = greasing_hours(used, x_end, np.array([0.9, 0.95]))
    assert greased[0] <= 0 < greased[1]
    since = life_since(used, greased)
    assert since[-1] == pytest.approx(x_end, abs=1e-3)
    before = since[(greased[1:] - 1).astype(int)]
    assert ((before > 0.88) & (before < 0.96)).all()


def test_a_standing_machine_needs_no_greasing():
    used = np.zeros(100)
    assert greasing_hours(used, 0.2, np.array([0.9])).tolist() == [0.0]


def test_grease_lives_meet_both_published_points():
    # L01 = t_f and L10 = 2.7 t_f: bearing maker's catalogue, relubrication intervals
    lives = grease_life(np.random.default_rng(0), 400_000)
    assert (lives < 1.0).mean() == pytest.approx(0.01, rel=0.05)
    assert (lives < 2.7).mean() == pytest.approx(0.10, rel=0.02)
