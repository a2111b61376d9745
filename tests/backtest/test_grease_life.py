from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from condlube.backtest.grease_life import failed_by, grease_life
from condlube.backtest.grease_life import fillings as fillings_of
from condlube.backtest.matters import Grid
from condlube.backtest.record import Record


def lives(rng, count, shape=2.366):
    scale = (1 / -np.log(0.99)) ** (1 / shape)
    life = stats.weibull_min(shape, scale=scale).rvs(count, random_state=rng)
    until = rng.uniform(0.5, 8.0, count)
    return np.minimum(life, until), life <= until


def test_the_handbook_is_found_again(policy):
    x, ended = lives(np.random.default_rng(1), 4000)
    found = grease_life(x, ended, policy)
    assert found is not None
    assert found.l01 == pytest.approx(1.0, rel=0.15)
    assert found.l10 == pytest.approx(2.7, rel=0.05)  # L10 = 2.7 L01: the handbook's own ratio
    assert found.handbook_l10 == pytest.approx(2.7, rel=0.001)
    assert found.l01_range[0] < found.l01 < found.l01_range[1]
    assert found.handbook_p > 0.05
    assert failed_by(found, found.l10) == pytest.approx(0.1)


def test_a_grease_that_lasts_half_as_long_is_told_from_the_handbook(policy):
    x, ended = lives(np.random.default_rng(2), 2000)
    found = grease_life(x / 2, ended, policy)
    assert found is not None
    assert found.l10 == pytest.approx(1.35, rel=0.1)
    assert found.handbook_p < 1e-6


def test_few_ends_keep_the_handbooks_shape(policy):
    x = np.array([1.0, 2.0, 0.9, 0.8, 0.95])
    ended = np.array([False, True, False, False, False])
    found = grease_life(x, ended, policy)
    assert found is not None
    assert found.shape_kept
    assert found.shape == policy.prior.weibull_slope
    # Weibull with known shape: eta^beta = sum x^beta / r (maximum likelihood with r failures)
    assert found.scale == pytest.approx((x**2.366).sum() ** (1 / 2.366))


def test_the_fit_solves_the_likelihood_equation_of_censored_weibull_lives(policy):
    """sum x^b ln x / sum x^b - 1/b = mean of ln x of those that ended (Lawless, Statistical Models and Methods for
    Lifetime Data, 2nd ed., section 5.2), and eta^b = sum x^b / r."""
    x, ended = lives(np.random.default_rng(4), 600, shape=1.7)
    found = grease_life(x, ended, policy)
    assert found is not None
    assert not found.shape_kept

    def equation(b: float) -> float:
        return float((x**b * np.log(x)).sum() / (x**b).sum() - 1 / b - np.log(x[ended]).mean())

    shape = optimize.brentq(equation, 0.2, 10.0)
    assert found.shape == pytest.approx(shape, rel=1e-3)
    assert found.scale == pytest.approx(((x**shape).sum() / ended.sum()) ** (1 / shape), rel=1e-3)


def test_no_end_no_fit(policy):
    assert grease_life(np.array([1.0, 0.9]), np.array([False, False]), policy) is None
    assert grease_life(np.array([]), np.array([], dtype=bool), policy) is None


def test_fillings_begin_in_the_span():
    grid = Grid(("B1",), np.arange(100), np.arange(100)[None, :])
    x = np.arange(100.0)[None, :] / 50
    said = Record(
        pd.DataFrame([(0, 90, "5.2.3", True)], columns=["which", "day", "finding", "lubrication"]),
        pd.DataFrame([], columns=["which", "day", "finding"]),
        pd.DataFrame([], columns=["which", "day"]),
        pd.DataFrame([(0, 20), (0, 60)], columns=["which", "day"]),
        0, 99,
    )  # fmt: skip
    found, ended = fillings_of(grid, x, said)
    assert found.tolist() == [x[0, 59], x[0, 89], x[0, 99]]
    assert ended.tolist() == [False, True, False]
