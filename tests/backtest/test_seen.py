"""What a past night sees, beside the store's own view of the same rows."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from condlube.backtest.seen import events_seen, newest_versions, segments
from condlube.schema.arrow import rows_to_table
from condlube.store import views

START = datetime(2026, 3, 1, tzinfo=UTC)
HOURS = st.integers(0, 240).map(lambda h: START + timedelta(hours=h))


class Rows:
    """The ledger of a snapshot."""

    def __init__(self, events):
        self._events = events

    def ledger_rows(self, table):
        return self._events if table == "events" else []


@st.composite
def ledgers(draw):
    rows = []
    for k in range(draw(st.integers(0, 8))):
        earlier = [row["event_id"] for row in rows]
        rows.append(
            {
                "event_id": f"e{k}",
                "time": draw(HOURS),
                "known_at": draw(HOURS),
                "kind": draw(st.sampled_from(["relubrication", "withdrawn"])),
                "bearing_id": "B1",
                "supersedes": draw(st.sampled_from([None, "", *earlier])),
            }
        )
    return rows


@settings(max_examples=60)
@given(ledgers(), HOURS, HOURS)
def test_events_are_seen_as_the_store_shows_them(rows, end, known_by):
    frame = rows_to_table("events", rows).to_pandas()
    theirs = views.events_visible(Rows(rows), end, known_by)["event_id"].to_pylist()
    assert sorted(events_seen(frame, end, known_by)["event_id"]) == sorted(theirs)


def test_the_newest_version_replaces_all_cells():
    day = date(2026, 3, 1)
    rows = [("p", day, 0, START), ("p", day, 1, START), ("p", day, 0, START + timedelta(hours=9)), ("q", day, 0, START)]
    frame = pd.DataFrame(rows, columns=["point_id", "date", "cell", "known_at"])
    assert newest_versions(frame).index.size == 2
    assert set(newest_versions(frame)["point_id"]) == {"p", "q"}


def test_what_came_late_begins_a_new_segment():
    nights = [date(2026, 3, d) for d in range(1, 8)]
    known = {n: datetime(n.year, n.month, n.day, tzinfo=UTC) + timedelta(days=1, hours=6) for n in nights}
    due = datetime(2026, 3, 3, 5, tzinfo=UTC)
    rows = pd.DataFrame({"date": [date(2026, 3, 2)] * 2, "known_at": [due, due + timedelta(days=3)]})
    none = rows_to_table("events", []).to_pandas()
    parts = segments(nights, known, ZoneInfo("UTC"), rows, none)
    assert [len(p) for p in parts] == [4, 3]
    assert segments(nights, known, ZoneInfo("UTC"), rows[:1], none) == [nights]
    assert segments([], {}, ZoneInfo("UTC"), rows, none) == []
