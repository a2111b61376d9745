"""The events file of a site, night after night: new rows are taken in, edited ones are told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from small_site import NOW, write_small_site

from condlube.operations.check import check
from condlube.operations.events_file import take_events
from condlube.store.store import Store
from condlube.store.views import events_visible

HEAD = "event_id,time,kind,bearing_id,grease_g,who,supersedes,known_at\n"
FIRST = "W1,2026-02-20T09:00,relubrication,M1-DE,33,A. Okafor,,\n"
UNNAMED = ",2026-03-01T09:00,relubrication,M1-NDE,23,A. Okafor,,\n"


@pytest.fixture
def site(tmp_path):
    folder = write_small_site(tmp_path / "site", days=1)
    text = (folder / "nightly.toml").read_text().replace("history = true", "history = false")
    (folder / "nightly.toml").write_text(text)
    return folder


@pytest.fixture
def take(site):
    """Take the rows in, and give the number of new events and the warnings."""

    def taken(text, now=NOW):
        (site / "events.csv").write_text(HEAD + text)
        with store(site).writer() as writer:
            count, doubtful = take_events(writer, check(site), now)
            return count, [str(fault) for fault in doubtful]

    return taken


def store(site):
    return Store.open(site / "store")


def held(site):
    return {row["event_id"]: row for row in store(site).ledger_rows("events")}


def test_new_rows_are_taken_in_once_without_a_word(site, take):
    assert take(FIRST) == (1, [])
    assert take(FIRST + UNNAMED, NOW + timedelta(days=1)) == (1, [])
    assert take(UNNAMED + FIRST) == (0, [])
    assert sorted(row["known_at"] for row in held(site).values()) == [NOW, NOW + timedelta(days=1)]


def test_an_edited_row_is_told_every_night_and_what_was_recorded_stands(site, take):
    take(FIRST)
    edited = UNNAMED + FIRST.replace(",33,A. Okafor", ",3.3,")
    for new in (1, 0):
        taken, warnings = take(edited)
        assert taken == new
        assert warnings == [
            "events.csv:3: grease_g: saw '3.3', expected 33.0, as recorded; to correct it restore this row and add a "
            "new one with supersedes = W1",
            "events.csv:3: who: saw 'nothing', expected A. Okafor, as recorded; to correct it restore this row and add "
            "a new one with supersedes = W1",
        ]
    assert held(site)["W1"]["grease_g"] == 33
    assert take(FIRST + "W2,2026-02-20T09:00,relubrication,M1-DE,3.3,A. Okafor,W1,\n" + UNNAMED) == (1, [])


def test_an_edited_row_without_an_id_is_a_second_event_and_told(site, take):
    take(UNNAMED)
    (first,) = held(site)
    taken, warnings = take(FIRST + UNNAMED.replace(",23,", ",32,"))
    assert taken == 2
    assert warnings == [
        f"events.csv:3: event_id: saw '', expected no second event of the same time, kind and place beside {first}, "
        f"which is on record; if this row was edited add a row of kind withdrawn with supersedes = {first}"
    ]
    withdrawn = f",2026-03-02T09:00,withdrawn,,,A. Okafor,{first},\n"
    assert take(FIRST + UNNAMED.replace(",23,", ",32,") + withdrawn) == (1, [])
    shown = events_visible(store(site).snapshot(), NOW, NOW)
    assert sorted(shown["grease_g"].to_pylist()) == [32, 33]


def test_known_at_is_kept_and_never_ahead_of_the_clock(site, take):
    given = datetime(2026, 2, 21, 7, tzinfo=UTC)
    assert take(FIRST[:-1] + "2026-02-21T07:00Z\n") == (1, [])
    assert held(site)["W1"]["known_at"] == given
    ahead = "W9,2026-03-02T09:00,inspection,M1-DE,,,,2036-01-01T00:00Z\n"
    taken, (warning,) = take(FIRST[:-1] + "2026-02-21T07:00Z\n" + ahead)
    assert taken == 1
    assert warning == (
        "events.csv:3: known_at: saw '2036-01-01T00:00:00+00:00', expected a time not after now, "
        "2026-06-06T06:30:00+00:00, which is taken instead"
    )
    assert held(site)["W9"]["known_at"] == NOW


def test_history_is_known_from_its_own_time_unless_the_row_says_otherwise(site, take):
    text = (site / "nightly.toml").read_text().replace("history = false", "history = true\ndelay_h = 2")
    (site / "nightly.toml").write_text(text)
    take(FIRST[:-1] + "2026-02-21T07:00Z\n" + UNNAMED)
    assert sorted(row["known_at"] for row in held(site).values()) == [
        datetime(2026, 2, 21, 7, tzinfo=UTC), datetime(2026, 3, 1, 11, tzinfo=UTC)
    ]  # fmt: skip
