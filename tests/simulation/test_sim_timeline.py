from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from statsmodels.tsa.stattools import acf

from condlube.errors import InvalidArgument
from condlube.simulation.timeline import Timeline, lagged, red_noise

MADRID = ZoneInfo("Europe/Madrid")


def test_days_of_the_clock_change_have_23_and_25_hours():
    timeline = Timeline.of(date(2026, 3, 28), date(2026, 3, 30), MADRID)
    assert np.bincount(timeline.day).tolist() == [24, 23, 24]
    timeline = Timeline.of(date(2026, 10, 24), date(2026, 10, 26), MADRID)
    assert np.bincount(timeline.day).tolist() == [24, 25, 24]
    assert timeline.hour_of_day[24:49].tolist() == [0, 1, 2, 2, *range(3, 24)]


def test_weekday_and_utc():
    timeline = Timeline.of(date(2026, 10, 24), date(2026, 10, 26), MADRID)  # a Saturday
    assert timeline.weekday[[0, 24, 49]].tolist() == [5, 6, 0]
    assert timeline.utc[0] == np.datetime64("2026-10-23T22:00:00")
    assert (np.diff(timeline.utc) == np.timedelta64(3600, "s")).all()


@pytest.mark.parametrize(
    ("when", "hour"),
    [
        (date(2026, 10, 25), 24.0),
        (datetime.fromisoformat("2026-10-26T12:30"), 24 + 25 + 12.5),
        (datetime(2026, 10, 23, 22, tzinfo=UTC), 0.0),
        (datetime.fromisoformat("2026-10-23T00:00"), -24.0),
    ],
)
def test_hour_at(when: date, hour: float):
    timeline = Timeline.of(date(2026, 10, 24), date(2026, 10, 26), MADRID)
    assert timeline.hour_at(when) == hour


def test_instant_at_undoes_hour_at():
    timeline = Timeline.of(date(2026, 10, 24), date(2026, 10, 26), MADRID)
    for hour in (0.0, 26.5, 27.5, 60.25):
        assert timeline.hour_at(timeline.instant_at(hour)) == hour


def test_red_noise_has_the_stated_spread_and_memory():
    noise = red_noise(np.random.default_rng(1), 200_000, memory=5.0, sd=2.0)
    assert noise.std() == pytest.approx(2.0, rel=0.02)
    # statsmodels' autocorrelation; exp(-k/5) by definition of the memory
    assert acf(noise, nlags=10, fft=True)[[1, 5, 10]] == pytest.approx(np.exp([-0.2, -1.0, -2.0]), abs=0.02)


def test_lag_reaches_63_percent_of_a_step_in_one_time_constant():
    step = np.concatenate([np.zeros(2), np.ones(40)])
    answer = lagged(step, 8.0)
    assert answer[1] == 0.0
    assert answer[1 + 8] == pytest.approx(1 - np.exp(-1.0))
    assert lagged(np.full(10, 3.7), 2.0) == pytest.approx(3.7)


def test_no_days_are_refused():
    with pytest.raises(InvalidArgument, match="2026-10-24"):
        Timeline.of(date(2026, 10, 24), date(2026, 10, 23), MADRID)


@pytest.mark.parametrize("n", [0, 1])
def test_next_to_no_noise(n: int):
    assert len(red_noise(np.random.default_rng(0), n, 2.0, 1.0)) == n
