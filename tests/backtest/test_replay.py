from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from condlube.backtest.replay import BESIDE, Span

FIRST, LAST = date(2023, 3, 10), date(2023, 5, 20)


def _same(a: pd.DataFrame, b: pd.DataFrame) -> None:
    assert not (a["failed"].fillna("") != "").any()
    assert_frame_equal(a.drop(columns=list(BESIDE)), b, check_exact=True)


@pytest.fixture(scope="module")
def span(small) -> Span:
    return replace(Span.of(FIRST, LAST, small[0], run_hour=6, every=9), days_at_once=31)


def test_a_replay_decides_what_the_nights_one_by_one_decided(small, span, policy, replayed, nightly) -> None:
    plant, held = small
    made = replayed(plant, held, span, policy)
    assert {"hold", "inspect"} <= set(made["call"])
    _same(made, nightly(plant, held, span, policy))


def test_late_readings_and_events_are_seen_from_when_they_were_known(small, span, policy, replayed, nightly) -> None:
    plant, held = small
    rows, events = held.rows.copy(), held.events.copy()
    late = (rows["date"].astype(str) == "2023-04-02") & rows["point_id"].str.startswith(("B00001", "B00003"))
    again = rows[late].assign(median=rows["median"] + 9.0, known_at=rows["known_at"] + timedelta(days=9))
    rows = pd.concat([rows, again], ignore_index=True)
    rows.loc[rows["date"].astype(str) == "2023-03-20", "known_at"] += timedelta(days=12)
    events.loc[events["kind"] == "relubrication", "known_at"] += timedelta(days=8)
    known = replace(held, rows=rows, events=events)
    _same(replayed(plant, known, span, policy), nightly(plant, known, span, policy))


def test_a_rise_that_stands_for_months_is_remembered_alike_in_one_stretch_and_night_by_night(
    small, policy, replayed, nightly
) -> None:
    """Nights far apart, worked on as one stretch: it holds several of the looks that note how a rise began."""
    plant, held = small
    rows = held.rows.copy()
    risen = (rows["date"] >= date(2023, 3, 5)) & (rows["point_id"] == "B00001-ultrasound")
    day = (pd.to_datetime(rows["date"]) - pd.Timestamp(2023, 3, 5)).dt.days
    rows.loc[risen, "median"] += 5.0 + 0.04 * day[risen]
    events = held.events[held.events["bearing_id"] != "B00001"].reset_index(drop=True)
    known = replace(held, rows=rows, events=events)
    span = replace(Span.of(date(2023, 3, 1), date(2023, 7, 15), plant, run_hour=6, every=14), days_at_once=366)
    assert len(span.chunks) == 1
    _same(replayed(plant, known, span, policy), nightly(plant, known, span, policy))


def test_the_first_stretch_is_half_as_long_and_no_night_is_lost(span) -> None:
    assert [night for own in span.chunks for night in own] == list(span.nights)
    assert [(own[-1] - own[0]).days for own in span.chunks] == [9, 27, 9]  # every ninth night within 15, 31 and 31 days
