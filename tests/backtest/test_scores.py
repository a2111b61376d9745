from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sklearn.metrics import brier_score_loss
from statsmodels.stats.rates import confint_poisson

from condlube.backtest import bootstrap
from condlube.backtest.answers import more_or_less, side_by_side
from condlube.backtest.calibration import calibration
from condlube.backtest.leads import leads
from condlube.backtest.matters import Grid
from condlube.backtest.scores import poisson, saved, scores
from condlube.policy.model import Policy


def test_the_interval_is_that_of_a_paired_percentile_bootstrap():
    rng = np.random.default_rng(5)
    years, events = rng.uniform(1, 3, 60), rng.poisson(0.6, 60).astype(float)
    ours = bootstrap.ratio(events, years, bootstrap.weights(60, np.random.default_rng(1), 20_000))
    theirs = stats.bootstrap(
        (events, years), lambda a, b, axis: a.sum(axis=axis) / b.sum(axis=axis), paired=True, n_resamples=20_000,
        confidence_level=0.9, method="percentile", rng=np.random.default_rng(2),
    ).confidence_interval  # fmt: skip
    assert ours.value == pytest.approx(events.sum() / years.sum())
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=0.02)


def test_nothing_to_divide_by_is_not_a_number():
    drawn = bootstrap.weights(3, np.random.default_rng(1))
    assert all(np.isnan(v) for v in bootstrap.ratio(np.zeros(3), np.zeros(3), drawn))


def test_lead_times_are_the_kaplan_meier_estimate():
    rng = np.random.default_rng(3)
    time, cut = rng.integers(1, 40, 30).astype(float), rng.random(30) < 0.3
    rows = pd.DataFrame({"what": "failure", "outcome": "early", "lead_d": time, "censored": cut})
    ours = leads(rows)
    theirs = stats.ecdf(stats.CensoredData(uncensored=time[~cut], right=time[cut])).sf
    at = np.searchsorted(theirs.quantiles, ours.days)
    np.testing.assert_allclose(ours.share, theirs.probabilities[at], rtol=1e-12)
    assert (ours.warned, ours.censored) == (30, int(cut.sum()))


def test_no_warning_has_no_lead_time():
    rows = pd.DataFrame({"what": ["failure"], "outcome": ["missed"], "lead_d": [0.0], "censored": [False]})
    assert np.isnan(leads(rows).median_d)


def test_calibration_leaves_out_what_the_record_does_not_tell():
    rng = np.random.default_rng(4)
    probability = rng.random(4000)
    state = np.where(rng.random(4000) < probability, 4, 0)
    state[:1000] = -1
    found = calibration(probability, state)
    assert found is not None
    assert found.nights == 3000
    assert found.brier == pytest.approx(brier_score_loss(state[1000:] > 0, probability[1000:]))
    assert np.abs(found.said - found.seen).max() < 0.08
    assert calibration(probability, np.zeros(4000, dtype=int)) is None
    assert calibration(probability, np.full(4000, -1)) is None


@pytest.mark.parametrize("count", [0, 1, 7])
def test_rates_are_no_narrower_than_the_exact_poisson_interval(count: int):
    theirs = confint_poisson(count, 12.5, method="exact-c", alpha=0.1)
    assert poisson(count, 12.5) == pytest.approx(theirs, rel=1e-9)


def test_two_policies_are_compared_on_the_same_resamples(policy: Policy):
    """Whatever both of them share cancels: the interval of the difference is that of the difference."""
    grid = Grid(("A", "B"), np.arange(365), np.arange(730).reshape(2, 365))
    drawn = bootstrap.weights(2, np.random.default_rng(1))
    rows = [("failure", "A", "missed", True), ("inspect", "B", "false", None)]
    columns = ["what", "bearing_id", "outcome", "lubrication"]
    mine, other = (
        scores(grid, pd.DataFrame(own, columns=columns), np.zeros(2), policy, drawn)["cost"] for own in (rows[:1], rows)
    )
    more = saved(mine, other, drawn)
    assert more.value == pytest.approx(other.interval.value - mine.interval.value)
    assert 0 <= more.low <= more.value <= more.high <= 2 * policy.cost.inspect.adequate / (365 / 365.25)


def test_scores_of_two_bearings(policy: Policy):
    grid = Grid(("A", "B"), np.arange(365), np.arange(730).reshape(2, 365))
    rows = [
        ("failure", "A", "early", True), ("failure", "B", "missed", False), ("inspect", "A", "false", None),
        ("inspect", "B", "true", None), ("grease", "A", "true", None), ("grease", "A", "due", None),
    ]  # fmt: skip
    found = pd.DataFrame(rows, columns=["what", "bearing_id", "outcome", "lubrication"])
    made = scores(grid, found, np.array([20.0, np.nan]), policy, bootstrap.weights(2, np.random.default_rng(1)))
    years = 2 * 365 / 365.25
    assert made["caught"].interval.value == 0.5
    exact = stats.binomtest(1, 2).proportion_ci(0.9, "exact")
    assert made["caught"].interval.high >= exact.high
    assert made["caught, lubrication"].interval.value == 1.0
    assert made["caught, other"].interval.value == 0.0
    assert made["false inspects"].interval.value == pytest.approx(1 / years)
    assert made["grease called"].interval.value == pytest.approx(40 / years)
    # by the default policy: one failure 100, inspects 4 and 4, two greasings 1 each
    assert made["cost"].interval.value == pytest.approx(110 / years)


@pytest.mark.parametrize(
    ("interval", "said"),
    [
        ((2.4, 1.4, 3.3), "2.4 more (1.4 to 3.3)"),
        ((-2.4, -3.3, -1.4), "2.4 less (1.4 to 3.3)"),
        ((0.3, -0.5, 1.1), "0.3 more (0.5 less to 1.1 more)"),
        ((-0.3, -1.1, 0.5), "0.3 less (1.1 less to 0.5 more)"),
        ((float("nan"),) * 3, "nothing to judge"),
    ],
)
def test_a_difference_is_said_as_more_or_less(interval, said):
    assert more_or_less(bootstrap.Interval(*interval)) == said


@pytest.mark.parametrize("width", [80, 100, 120, 200])
def test_figures_side_by_side_keep_to_the_terminal_and_lose_nothing(width):
    callers = [f"x{2**k}" for k in range(6)]
    own = [bootstrap.Interval(k + 0.0123, k, k + 10.123) for k in range(6)]
    rows = [("caught", "per bearing-year", own), ("cost", "needless greasings per bearing-year", own)]
    lines = side_by_side(callers, rows, width)
    assert max(map(len, lines)) <= width
    words = " ".join(lines).split()
    assert [word for word in words if word in callers] == callers
    assert sum(word.strip("()") == "to" for word in words) == 2 * len(callers)
