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
