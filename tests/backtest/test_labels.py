"""What a verdict tells of the night on which it was given."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from condlube.backtest.labels import UNKNOWN, labels, seen_by
from condlube.backtest.matters import Grid
from condlube.backtest.outcomes import Windows
from condlube.backtest.record import Record
from condlube.schema.arrow import rows_to_table
from condlube.schema.words import STATES

FIRST, DAYS, AT = date(2025, 1, 1), 300, 100
START = (FIRST - date(1970, 1, 1)).days
GRID = Grid(("A", "B"), START + np.arange(DAYS), np.arange(2 * DAYS).reshape(2, DAYS))
EVERY_FIFTH = Grid(("A", "B"), START + np.arange(0, DAYS, 5), np.arange(2 * DAYS // 5).reshape(2, -1))


def record(failed_on=None, inspected_on=None):
    failures = [] if failed_on is None else [(1, START + failed_on, "", True)]
    inspections = [] if inspected_on is None else [(1, START + inspected_on, "")]
    return Record(
        pd.DataFrame(failures, columns=["which", "day", "finding", "lubrication"]),
        pd.DataFrame(inspections, columns=["which", "day", "finding"]),
        pd.DataFrame([], columns=["which", "day"]),
        pd.DataFrame([], columns=["which", "day", "grease_g", "answer", "quiet"]), START, START + DAYS - 1,
    )  # fmt: skip


def told(verdict="change", call=None, reason="seen_on_site", bearing="B", grid=GRID, said=None, on=AT):
    night = FIRST + timedelta(days=on)
    row = {"review_id": "r", "run_id": "x", "night": night, "bearing_id": bearing, "who": "Ana", "verdict": verdict,
           "call": call, "reason": reason, "time": datetime(2025, 6, 1, tzinfo=UTC),
           "known_at": datetime(2025, 6, 1, tzinfo=UTC)}  # fmt: skip
    reviews = rows_to_table("reviews", [row]).to_pandas()
    state, episode = labels(grid, said or record(), Windows(), seen_by(grid, reviews))
    return state, episode


@pytest.mark.parametrize(("said", "state"), [
    ({"call": "grease"}, "starved"),
    ({"call": "grease", "reason": "measured_again"}, "starved"),
    ({"call": "hold", "reason": "sensor_doubted"}, "instrument_fault"),
    ({"verdict": "defer", "reason": "sensor_doubted"}, "instrument_fault"),
])  # fmt: skip
def test_a_verdict_names_the_state_of_its_night(said, state):
    found, episode = told(**said)
    assert STATES[found[1, AT]] == state
    assert episode[1, AT] == 0
    assert (found[0] <= 0).all()
    assert (np.delete(found[1], AT) <= 0).all()


@pytest.mark.parametrize("said", [
    {"call": "grease", "reason": "work_planned"}, {"call": "inspect"}, {"verdict": "agree", "reason": None},
    {"verdict": "defer", "reason": "work_planned"}, {"call": "grease", "bearing": "gone"},
])  # fmt: skip
def test_a_verdict_that_saw_nothing_tells_nothing(said):
    none = labels(GRID, record(), Windows())
    assert all((made == plain).all() for made, plain in zip(told(**said), none, strict=True))


def test_a_look_that_found_nothing_says_in_order_though_the_nights_around_are_unknown():
    found, _ = told(call="hold", reason="inspected_nothing_found", said=record(inspected_on=AT + 1))
    assert found[1, AT - 1] == UNKNOWN
    assert STATES[found[1, AT]] == "adequate"


def test_the_record_goes_before_the_verdict():
    found, _ = told(call="hold", said=record(failed_on=AT + 5))
    assert STATES[found[1, AT]] == "starved"


def test_a_night_between_two_of_the_grid_counts_once():
    found, _ = told(call="grease", grid=EVERY_FIFTH, on=AT + 2)
    assert (found[1] == STATES.index("starved")).sum() == 1
