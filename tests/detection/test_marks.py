"""Marks: the levels that a later stage holds tonight's against; every expected value is worked by hand."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from condlube.detection.marks import faulty_share, marks
from condlube.detection.series import FAULTY, SOUND

RULES = SimpleNamespace(lately_nights=7, response_before_nights=5)
DAYS = np.arange(100, 120)
LEVEL = np.array([0, 1, 0, 2, 1, 0, 0, 1, 9, 9, 9, 8, 8, 9, 8, 9, 8, 8, 9, 20.0])


def marked(greased=-1, looked=-1, hi=20, lo=0):
    one = (np.array([v]) for v in (lo, hi))
    night = np.array([DAYS[hi - 1] if hi else 99])
    made = marks(*one, DAYS, LEVEL, night, np.array([greased]), np.array([looked]), RULES)
    return {name: float(value[0]) for name, value in made.items()}


def test_lately_is_the_median_of_the_last_seven_nights():
    assert marked()["lately"] == 9  # 9 8 9 8 8 9 20
    assert marked(hi=7)["lately"] == 0  # 0 1 0 2 1 0 0
    assert np.isnan(marked(hi=2)["lately"])


def test_before_a_greasing_only_the_nights_before_it_count():
    assert marked(greased=108)["before_greasing"] == 1  # 2 1 0 0 1
    assert np.isnan(marked(greased=101)["before_greasing"])  # one night
    assert np.isnan(marked(greased=200)["before_greasing"])  # the newest is more than 30 days before it
    assert np.isnan(marked()["before_greasing"])


def test_at_an_inspection_the_newest_night_counts():
    assert marked(looked=108)["at_inspection"] == 9
    assert marked(looked=119)["at_inspection"] == 20
    assert marked(looked=140)["at_inspection"] == 20  # 21 days later
    assert np.isnan(marked(looked=160)["at_inspection"])
    assert np.isnan(marked(looked=99)["at_inspection"])
    assert np.isnan(marked()["at_inspection"])


def test_a_series_without_nights_has_no_marks():
    assert all(np.isnan(value) for value in marked(looked=110, greased=110, hi=0).values())


@pytest.mark.parametrize(("night", "window", "share"), [(3, 90, 0.5), (3, 2, 1.0), (1, 90, 0.0), (0, 90, 0.0)])
def test_share_of_faulty_days(night, window, share):
    """Point 0: days 0 and 1 sound, 2 and 3 faulty; point 1 always faulty."""
    days = pd.DataFrame(
        {"point": [0, 0, 0, 0, 1], "day": [0, 1, 2, 3, 0], "kind": [SOUND, SOUND, FAULTY, FAULTY, FAULTY]}
    )
    cells = SimpleNamespace(days=days)
    assert faulty_share(cells, np.array([0, 1, 2]), np.array([night, 0, 9]), window).tolist() == [share, 1.0, 0.0]
