"""A finding that lasts is one matter, with its first night, its state, and everything that it concerns."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from condlube.advisory.matters import act_by, matters

FIRST = date(2025, 6, 1)
ZONE = ZoneInfo("UTC")
SHARED = {"machine": {"B": "M1", "C": "M1", "D": "M2"}, "instrument": {"B": "G1", "D": "G1"}}


def nights(calls, bearing="B", **columns):
    """Rows of successive nights: 'h', 'g', 'i' for the call, 's' for a hold at standstill."""
    words = {"h": "hold", "g": "grease", "i": "inspect", "s": "hold"}
    return [
        {"night": FIRST + timedelta(days=k), "bearing_id": bearing, "call": words[c], "look_at": "bearing" if c == "i"
         else "", "guards": "stopped" if c == "s" else "", "reason": f"r{k}", "due_date": None,
         "due_late": None, **(columns if c == "i" else {})}
        for k, c in enumerate(calls)
    ]  # fmt: skip


def event(kind, day, finding=None, bearing="B", **columns):
    time = datetime(2025, 6, day, 12, tzinfo=UTC)
    return {"event_id": f"{kind}{day}", "kind": kind, "bearing_id": bearing, "time": time, "finding": finding,
            "supersedes": None, **columns}  # fmt: skip


def deferral(day, until):
    return {"review_id": "r", "bearing_id": "B", "time": datetime(2025, 6, day, 8, tzinfo=UTC), "verdict": "defer",
            "defer_until": until, "supersedes": None}  # fmt: skip


def told(calls, events=(), reviews=(), **columns):
    return matters(nights(calls, **columns), events, reviews, SHARED, ZONE)


def test_twenty_nights_are_one_matter():
    (matter,) = told("hh" + "i" * 20)
    assert (matter.first, matter.last, matter.nights) == (date(2025, 6, 3), date(2025, 6, 22), 20)
    assert (matter.state, matter.began_as, matter.reason) == ("open", "r2", "r21")


def test_holds_are_no_matter():
    assert told("hhhh") == []
    assert matters([], [], [], SHARED, ZONE) == []


def test_what_went_away_by_itself_is_gone():
    (matter,) = told("hiih")
    assert (matter.state, matter.since) == ("gone", date(2025, 6, 3))


def test_an_open_inspection_stays_open_at_standstill():
    (matter,) = told("hiisss")
    assert matter.state == "open"
    assert matter.at_standstill
    assert matter.nights == 2


def due(rows, days):
    """The rows, each due so many days after its night."""
    return [{**row, "due_date": row["night"] + timedelta(days=days), "due_late": None} for row in rows]


def test_a_call_that_stands_keeps_the_day_that_it_was_given_first():
    rows = due(nights("iiiii"), 3)
    (matter,) = matters(rows, [], [], SHARED, ZONE)
    assert matter.by == date(2025, 6, 4)
    assert act_by(rows[-1], matter) == date(2025, 6, 4)
    assert act_by(rows[-1]) == date(2025, 6, 8)


def test_what_grows_urgent_is_due_earlier():
    rows = [*due(nights("ii"), 7), *due(nights("iii"), 1)[2:]]
    (matter,) = matters(rows, [], [], SHARED, ZONE)
    assert matter.by == date(2025, 6, 4)


def test_a_deferral_gives_a_new_day():
    rows = due(nights("iihhi"), 3)
    rows[2]["guards"] = rows[3]["guards"] = "deferred"
    (matter,) = matters(rows, [], [], SHARED, ZONE)
    assert (matter.first, matter.by) == (date(2025, 6, 1), date(2025, 6, 8))


def test_a_hold_is_due_when_the_call_turns():
    (row,) = due(nights("h", second_action="machine"), 20)
    (matter,) = matters([{**row, "second_action": "machine"}], [], [], SHARED, ZONE)
    assert act_by(row, matter) == date(2025, 6, 21)


def test_another_thing_to_look_at_is_another_matter():
    later = [{**row, "night": row["night"] + timedelta(days=2), "look_at": "supply"} for row in nights("ii")]
    found = matters(nights("ii") + later, [], [], SHARED, ZONE)
    assert [(m.look_at, m.state) for m in found] == [("supply", "open"), ("bearing", "gone")]


@pytest.mark.parametrize(
    ("calls", "events", "state"),
    [
        ("ggg", [], "on_work_list"),
        ("gghh", [event("relubrication", 2)], "done"),
        ("iiii", [event("inspection", 2, "none")], "inspected_without_finding"),
        ("iiii", [event("inspection", 2, "leak")], "inspected_with_finding"),
        ("iiii", [event("relubrication", 2)], "open"),
        ("iihh", [event("replacement", 2)], "done"),
        ("iiii", [event("inspection", 2, "none", "C")], "open"),
        ("hhii", [event("inspection", 2, "none")], "open"),
        ("iiii", [event("inspection", 2, "leak"), event("inspection", 3, "none")], "inspected_without_finding"),
        ("iiii", [event("inspection", 2, "none"), event("noted", 3, supersedes="inspection2", bearing=None)], "open"),
    ],
)
def test_what_was_done_since_gives_the_state(calls, events, state):
    for event_ in events:
        event_.setdefault("supersedes", None)
    assert told(calls, events)[0].state == state


def test_a_deferral_holds_until_its_day():
    assert told("iiii", reviews=[deferral(2, date(2025, 6, 20))])[0].state == "deferred"
    assert told("iiii", reviews=[deferral(2, date(2025, 6, 3))])[0].state == "open"


def test_one_machine_is_one_matter():
    rows = [*nights("iii", "B", look_at="machine"), *nights("hii", "C", look_at="machine"),
            *nights("iii", "D", look_at="machine")]  # fmt: skip
    found = matters(rows, [], [], SHARED, ZONE)
    assert [m.bearing_ids for m in found] == [("B", "C"), ("D",)]
    assert found[0].first == FIRST


def test_one_collector_is_one_matter_but_two_bearings_are_two():
    by_instrument = [*nights("ii", "B", look_at="instrument"), *nights("ii", "D", look_at="instrument")]
    assert [m.bearing_ids for m in matters(by_instrument, [], [], SHARED, ZONE)] == [("B", "D")]
    by_bearing = [*nights("ii", "B"), *nights("ii", "C")]
    assert len(matters(by_bearing, [], [], SHARED, ZONE)) == 2


def test_order_of_rows_does_not_matter():
    rows = [*nights("hiih", "B"), *nights("iiii", "C", look_at="machine"), *nights("iiii", "B", look_at="supply")][:8]
    assert matters(rows[::-1], [], [], SHARED, ZONE) == matters(rows, [], [], SHARED, ZONE)
