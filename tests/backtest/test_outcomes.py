from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from condlube.backtest.matters import GREASE, HOLD, INSPECT, Grid, calls_of, matters_of
from condlube.backtest.outcomes import Windows, outcomes
from condlube.backtest.record import Record

DAYS = 200
W = Windows()


def record(failures=(), inspections=(), replacements=(), greasings=()) -> Record:
    return Record(
        pd.DataFrame(list(failures), columns=["which", "day", "finding", "lubrication"]),
        pd.DataFrame(list(inspections), columns=["which", "day", "finding"]),
        pd.DataFrame(list(replacements), columns=["which", "day"]),
        pd.DataFrame(list(greasings), columns=["which", "day", "grease_g", "answer", "quiet"]),
        0,
        DAYS - 1,
    )


def judged(said: Record, x: float = 0.5, **calls: tuple[int, int]) -> pd.DataFrame:
    """Outcomes of one bearing that is held but for spans of days like ``inspect=(10, 20)``."""
    grid = Grid(("B1",), np.arange(DAYS), np.arange(DAYS)[None, :])
    made = np.full((1, DAYS), HOLD)
    for name, (first, last) in calls.items():
        made[0, first : last + 1] = {"grease": GREASE, "inspect": INSPECT}[name]
    return outcomes(grid, made, np.full((1, DAYS), x), said, W).set_index("what")


def test_matters_join_nights_that_are_close():
    grid = Grid(("B1", "B2"), np.arange(30), np.arange(60).reshape(2, 30))
    standing = np.zeros((2, 30), dtype=bool)
    standing[0, [2, 3, 9, 20]] = True
    standing[1, [0, 29]] = True
    found = matters_of(grid, standing, gap_d=7)
    assert found.which.tolist() == [0, 0, 1, 1]
    assert found.first.tolist() == [2, 20, 0, 29]
    assert found.last.tolist() == [9, 20, 0, 29]


def test_a_failure_warned_of_in_time():
    row = judged(record([(0, 100, "5.1.2", False)]), inspect=(80, 99)).loc["failure"]
    assert (row["outcome"], row["lead_d"], row["censored"]) == ("early", 20.0, False)


def test_a_failure_warned_of_the_day_before_is_late():
    row = judged(record([(0, 100, "5.1.2", False)]), inspect=(99, 99)).loc["failure"]
    assert (row["outcome"], row["lead_d"]) == ("late", 1.0)


def test_grease_warns_of_want_of_grease_but_not_of_damage():
    assert judged(record([(0, 100, "5.2.3", True)]), grease=(80, 90)).loc["failure", "outcome"] == "early"
    assert judged(record([(0, 100, "5.1.2", False)]), grease=(80, 90)).loc["failure", "outcome"] == "missed"


def test_a_call_long_before_and_gone_is_no_warning():
    assert judged(record([(0, 100, "5.1.2", False)]), inspect=(20, 30)).loc["failure", "outcome"] == "missed"


def test_a_matter_that_stood_before_the_lead_time_gives_a_lower_bound():
    row = judged(record([(0, 150, "5.1.2", False)]), inspect=(20, 149)).loc["failure"]
    assert (row["outcome"], row["lead_d"], row["censored"]) == ("early", W.lead_max_d, True)


def test_a_failure_before_the_replay_is_open():
    assert judged(record([(0, -5, "5.1.2", False)])).loc["failure", "outcome"] == "open"


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        (record([(0, 60, "5.1.2", False)]), "true"),
        (record(inspections=[(0, 25, "blocked_path")]), "true"),
        (record(inspections=[(0, 25, "")]), "false"),
        (record(replacements=[(0, 40)]), "open"),
        (record(), "false"),
    ],
)
def test_what_became_of_an_inspect(said: Record, outcome: str):
    assert judged(said, inspect=(20, 22)).loc["inspect", "outcome"] == outcome


def test_an_inspect_whose_follow_up_ends_too_soon_is_open():
    assert judged(record(), inspect=(DAYS - 30, DAYS - 25)).loc["inspect", "outcome"] == "open"


@pytest.mark.parametrize(
    ("said", "x", "outcome"),
    [
        (record([(0, 50, "5.2.3", True)]), 0.5, "true"),
        (record(greasings=[(0, 25, 20.0, "held", False)]), 0.5, "true"),
        (record(greasings=[(0, 25, 20.0, "none", False)]), 0.5, "no_effect"),
        (record(greasings=[(0, 25, 20.0, "unknown", False)]), 0.5, "open"),
        (record(), 1.1, "due"),
        (record(), 0.5, "false"),
    ],
)
def test_what_became_of_a_grease(said: Record, x: float, outcome: str):
    assert judged(said, x, grease=(20, 22)).loc["grease", "outcome"] == outcome


def test_greasings_needed_and_needless():
    said = record(greasings=[(0, 50, 20.0, "held", False), (0, 120, 20.0, "unknown", True)])
    rows = judged(said).loc[["greasing"]]
    assert rows["outcome"].tolist() == ["needed", "needless"]
    assert rows["detail"].tolist() == ["hold was called"] * 2


def test_an_extension_is_right_when_the_level_was_quiet_at_its_end():
    quiet = judged(record(greasings=[(0, DAYS - 1, 20.0, "unknown", True)]), x=1.2)
    assert quiet.loc["extension", "outcome"] == "right"
    failed = judged(record([(0, 100, "5.2.3", True)]), x=1.2)
    assert failed.loc["extension", "outcome"] == "wrong"
    assert judged(record(), x=1.2).loc["extension", "outcome"] == "open"


def test_nobody_to_judge():
    grid = Grid(("B1",), np.arange(3), np.arange(3)[None, :])
    made = outcomes(grid, np.full((1, 3), HOLD), np.full((1, 3), np.nan), record(), W)
    assert made.empty


def test_asking_for_a_record_is_a_survey_and_warns_of_nothing():
    grid = Grid(("B1",), np.arange(DAYS), np.arange(DAYS)[None, :])
    guards = pd.Series(["history_unknown extension_cap"] * DAYS)
    calls = calls_of(grid, np.full(DAYS, INSPECT), np.full(DAYS, HOLD), guards)
    assert (calls_of(grid, np.full(DAYS, INSPECT), np.full(DAYS, INSPECT), guards) == INSPECT).all()
    rows = outcomes(grid, calls, np.full((1, DAYS), 0.5), record([(0, 100, "5.1.2", False)]), W).set_index("what")
    assert rows.loc["survey", "outcome"] == "asked"
    assert rows.loc["failure", "outcome"] == "missed"
    assert "inspect" not in rows.index
