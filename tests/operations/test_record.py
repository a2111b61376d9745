"""Recording events: one at a time, by file, corrected, withdrawn."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from condlube.errors import ConfigurationError
from condlube.operations.record import events_visible, record, record_file
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.store.store import Store

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
FUTURE = datetime(2030, 1, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def register():
    bearings = "bearing_id,machine_id,designation,speed_rpm\nP1.DE,P1,6312,1480\nP1.NDE,P1,6312,1480\n"
    greases = "grease_id,thickener\nG1,lithium\n"
    points = "point_id,bearing_id,tag,quantity,unit\nP1.DE.T,P1.DE,T1,temperature,degC\n"
    site = Site("plant", ZoneInfo("Europe/Lisbon"), date(2025, 1, 1))
    return parse_register(Text("b.csv", bearings), Text("g.csv", greases), Text("p.csv", points), site)


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path / "store")


def shown(store, as_of=FUTURE, known_by=FUTURE):
    return events_visible(store.snapshot(), as_of, known_by).to_pylist()


def test_a_greasing_is_known_from_when_it_was_recorded(store, register):
    done = NOW - timedelta(hours=20)
    made = record(store, register, "relubrication", NOW, time=done, bearing_id="P1.DE", grease_g=12.5, outlet_open=True)
    (event,) = made.new
    assert (event["time"], event["known_at"], event["kind"]) == (done, NOW, "relubrication")
    assert (event["grease_g"], event["outlet_open"], event["machine_id"]) == (12.5, True, "P1")
    assert [row["event_id"] for row in shown(store)] == [event["event_id"]]
    assert shown(store, known_by=NOW - timedelta(seconds=1)) == []
    assert store.ledger_rows("commits")[-1]["source"] == "record"


@pytest.mark.parametrize(
    ("kind", "place"),
    [
        ("relubrication", {"bearing_id": "P1.DE"}),
        ("inspection", {"machine_id": "P1", "finding": "none"}),
        ("replacement", {"bearing_id": "P1.DE", "lubrication_related": False}),
        ("failure", {"bearing_id": "P1.DE", "failure_mode": "VIB", "lubrication_related": True}),
        ("sensor_moved", {"point_id": "P1.DE.T"}),
        ("rebuilt", {"machine_id": "P1"}),
        ("isolated", {"machine_id": "P1"}),
        ("returned", {"machine_id": "P1"}),
    ],
)
def test_every_kind_of_event(store, register, kind, place):
    (event,) = record(store, register, kind, NOW, **place).new
    assert event["time"] == NOW
    assert {name: event[name] for name in place} == place


def test_the_same_event_twice_is_one_event(store, register):
    first = record(store, register, "isolated", NOW, time=NOW, machine_id="P1")
    again = record(store, register, "isolated", NOW + timedelta(hours=1), time=NOW, machine_id="P1")
    assert again.new == ()
    assert again.known == (first.new[0]["event_id"],)
    assert len(shown(store)) == 1


def test_a_correction_replaces_and_keeps_what_was_said(store, register):
    wrong = record(store, register, "relubrication", NOW, bearing_id="P1.DE", grease_g=120).new[0]
    later = NOW + timedelta(hours=2)
    said = {"time": NOW, "bearing_id": "P1.DE", "grease_g": 12, "supersedes": wrong["event_id"]}
    record(store, register, "relubrication", later, **said)
    assert [row["grease_g"] for row in shown(store)] == [12]
    assert [row["grease_g"] for row in shown(store, known_by=NOW)] == [120]
    assert [row["grease_g"] for row in store.ledger_rows("events")] == [120, 12]


def test_an_event_that_never_happened_is_withdrawn(store, register):
    wrong = record(store, register, "relubrication", NOW, bearing_id="P1.DE").new[0]
    record(store, register, "withdrawn", NOW, supersedes=wrong["event_id"], note="wrong pump")
    assert shown(store) == []
    assert len(store.ledger_rows("events")) == 2


@pytest.mark.parametrize(
    ("kind", "fields", "message"),
    [
        ("greasing", {"bearing_id": "P1.DE"}, "kind: saw 'greasing'"),
        ("relubrication", {"bearing_id": "P9"}, "bearing_id: saw 'P9'"),
        ("relubrication", {}, "bearing_id of the relubrication"),
        ("relubrication", {"bearing_id": "P1.DE", "grease_id": "G9"}, "grease_id: saw 'G9'"),
        ("relubrication", {"bearing_id": "P1.DE", "grease_g": "much"}, "grease_g: saw 'much'"),
        ("relubrication", {"bearing_id": "P1.DE", "grease_g": float("nan")}, "grease_g: saw 'nan'"),
        ("relubrication", {"bearing_id": "P1.DE", "grease_g": -1}, "grease_g: saw '-1'"),
        ("inspection", {"bearing_id": "P1.DE", "time": NOW + timedelta(minutes=1)}, "a time not after now"),
        ("inspection", {"bearing_id": "P1.DE", "supersedes": "nothing"}, "the event_id of a recorded event"),
        ("withdrawn", {}, "supersedes"),
    ],
)
def test_what_is_wrong_is_told_and_not_recorded(store, register, kind, fields, message):
    with pytest.raises(ConfigurationError, match=message):
        record(store, register, kind, NOW, **fields)
    assert not store.exists() or store.ledger_rows("events") == []


def test_fields_that_events_do_not_have(store, register):
    with pytest.raises(ConfigurationError, match="colour: saw 'colour', expected one of event_id, "):
        record(store, register, "isolated", NOW, machine_id="P1", colour="red")


def test_text_with_quotes_commas_and_lines_is_kept(store, register):
    note = 'said "warm", then\nstopped; =1+1 — ü'
    (event,) = record(store, register, "inspection", NOW, bearing_id="P1.DE", note=note).new
    assert event["note"] == note
    assert store.ledger_rows("events")[0]["note"] == note


def test_a_superseded_event_cannot_be_corrected_twice(store, register):
    first = record(store, register, "inspection", NOW, bearing_id="P1.DE", who="a").new[0]["event_id"]
    second = record(store, register, "inspection", NOW, bearing_id="P1.DE", who="b", supersedes=first).new[0]
    with pytest.raises(ConfigurationError, match=f"{second['event_id']}, which has superseded it already"):
        record(store, register, "inspection", NOW, bearing_id="P1.DE", who="c", supersedes=first)
    record(store, register, "inspection", NOW, bearing_id="P1.DE", who="c", supersedes=second["event_id"])
    assert [row["who"] for row in shown(store)] == ["c"]


FILE = """event_id,time,kind,bearing_id,grease_g,supersedes
,2026-03-01 10:00,relubrication,P1.DE,10,
W7,2026-03-01 11:00,relubrication,P1.NDE,90,
W8,2026-03-01 11:00,relubrication,P1.NDE,9,W7
"""


def test_a_file_is_recorded_whole_and_once(store, register):
    assert len(record_file(store, register, Text("log.csv", FILE), NOW).new) == 3
    again = record_file(store, register, Text("log.csv", FILE + ",2026-03-02 08:00,inspection,P1.DE,,\n"), NOW)
    assert (len(again.new), len(again.known)) == (1, 3)
    assert sorted(row["grease_g"] or 0 for row in shown(store)) == [0, 9, 10]


def test_one_bad_row_keeps_the_whole_file_out(store, register):
    bad = FILE + ",2026-03-02 23:00,inspection,P1.DE,,\n"
    with pytest.raises(ConfigurationError, match="a time not after now"):
        record_file(store, register, Text("log.csv", bad), NOW)
    assert store.ledger_rows("events") == []


def test_an_edited_row_is_no_correction(store, register):
    record_file(store, register, Text("log.csv", FILE), NOW)
    edited = FILE.replace("P1.NDE,90", "P1.NDE,8")
    with pytest.raises(ConfigurationError, match=r"log.csv:3: grease_g: saw '8.0', expected 90.0,.*supersedes = W7"):
        record_file(store, register, Text("log.csv", edited), NOW)


def test_a_given_known_at_is_kept_unless_it_is_still_to_come(store, register):
    head = "time,kind,bearing_id,known_at\n2026-03-01 10:00,inspection,P1.DE,"
    (event,) = record_file(store, register, Text("log.csv", head + "2026-03-01 12:00"), NOW).new
    assert event["known_at"] == datetime(2026, 3, 1, 12, tzinfo=UTC)
    assert [row["event_id"] for row in shown(store, known_by=NOW - timedelta(hours=1))] == [event["event_id"]]
    with pytest.raises(ConfigurationError, match=r"log\.csv:2: known_at: .*a time not after now"):
        record_file(store, register, Text("log.csv", head.replace("P1.DE", "P1.NDE") + "2026-03-05 12:00"), NOW)


def test_a_register_that_fills_in_another_machine_edits_nothing(store, register):
    record_file(store, register, Text("log.csv", FILE), NOW)
    bearings = "bearing_id,machine_id,designation,speed_rpm\nP1.DE,P2,6312,1480\nP1.NDE,,6312,1480\n"
    moved = parse_register(Text("b.csv", bearings), None, None, register.site)
    assert len(record_file(store, moved, Text("log.csv", FILE), NOW).known) == 3


def test_recording_does_not_wait_for_the_night(store, register):
    with store.writer() as writer:
        record(store, register, "isolated", NOW, machine_id="P1")
        assert len(writer.ledger_rows("events")) == 1
        assert writer.commit("night", NOW) == 3
