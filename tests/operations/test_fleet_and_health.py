"""Fleet, data and past of a bearing, on the small site that the chain decided and on rows made by hand."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from small_site import NOW

from condlube.operations.bearing import bearing_night, odds_bits, waterfall
from condlube.operations.desk import Desk, NotThere
from condlube.operations.fleet import _ended, fleet
from condlube.operations.health import _source, health, rejected_lines
from condlube.operations.past import events_of
from condlube.schema.words import STATES
from condlube.store.store import Store

T = datetime(2026, 5, 1, tzinfo=UTC)


def test_fleet_counts_every_bearing_once(small_site):
    sight = Desk(small_site[0]).sight()
    found = fleet(sight)
    assert sum(found.calls.values()) == sum(found.life) == sum(found.condition.values()) == len(sight.decisions)
    assert sum(sum(counts.values()) for counts in found.by_area.values()) == len(sight.decisions)
    # 33 + 23 + 41.4 g recorded in small_site.EVENTS; the greasing of M2-DE names no grams.
    assert found.grease.given_g == pytest.approx(97.4)
    assert found.grease.without_grams == 1


NIGHTS = [date(2026, 6, k) for k in (1, 2, 3, 4)]


@pytest.mark.parametrize(("first", "last", "late", "given", "ended"), [
    (0, 1, date(2026, 6, 9), [date(2026, 6, 3)], "in_time"), (0, 1, date(2026, 6, 2), [date(2026, 6, 3)], "late"),
    (0, 3, None, [], "open"), (0, 1, None, [], "withdrawn"), (1, 2, None, [date(2026, 5, 1)], "withdrawn"),
    (1, 3, None, [date(2026, 6, 5)], "in_time"),
])  # fmt: skip
def test_how_a_run_of_grease_calls_ended(first, last, late, given, ended):
    assert _ended(NIGHTS, first, last, late, given) == ended


def test_health_accounts_for_every_line(small_site):
    found = health(Desk(small_site[0]).sight())
    (source,) = found.sources
    assert source.lines == source.stored + source.duplicate + source.rejected
    assert found.unknown_tags == {"UNKNOWN.TAG": 1}
    (ingest_id,) = {row["ingest_id"] for row in found.files}
    lines = rejected_lines(Desk(small_site[0]).sight(), ingest_id)
    assert {row["reason"] for row in lines} == set(source.reasons)
    assert rejected_lines(Desk(small_site[0]).sight(), ingest_id, "no such reason") == []


def ingest(day):
    last = T + timedelta(days=day)
    counts = {"lines": 1, "stored": 1, "duplicate": 0, "rejected": 0}
    return {**counts, "last": last, "known_at": last, "counts": json.dumps({})}


@pytest.mark.parametrize(("days", "as_of", "late"), [
    ((0, 1, 2), 3.9, False), ((0, 1, 2), 4.1, True), ((0, 30, 60), 119, False), ((0, 30, 60), 121, True),
    ((0,), 500, False), ((0, 1), 500, False),
])  # fmt: skip
def test_a_source_is_late_by_its_own_rhythm(days, as_of, late):
    assert _source("s", [ingest(day) for day in days], T + timedelta(days=as_of)).late is late


def test_the_waterfall_ends_at_the_odds_of_the_decision(small_site):
    desk = Desk(small_site[0])
    sight = desk.sight()
    for bearing_id, row in sight.decisions.items():
        found = bearing_night(desk, sight, bearing_id)
        for state in STATES[1:]:
            assert waterfall(found.evidence, state)[-1].total == pytest.approx(odds_bits(row, state), abs=1e-9)
    with pytest.raises(NotThere, match="nothing"):
        bearing_night(desk, sight, "nothing")


def test_the_band_of_a_trend_holds_the_healthy_levels(small_site):
    desk = Desk(small_site[0])
    found = bearing_night(desk, desk.sight(), "M1-NDE")
    assert [trend.quantity for trend in found.trends] == ["ultrasound", "velocity", "temperature"]
    for trend in found.trends:
        known = [k for k, value in enumerate(trend.expected) if value is not None]
        inside = [trend.low[k] <= trend.observed[k] <= trend.high[k] for k in known]
        assert len(known) > 20
        assert sum(inside) / len(inside) > 0.9  # two standard uncertainties: 95 % of a normal variable


def event(event_id, supersedes=None, **said):
    return {"event_id": event_id, "time": T, "kind": "relubrication", "bearing_id": "B", "machine_id": "M",
            "known_at": T, "supersedes": supersedes, **said}  # fmt: skip


@pytest.mark.parametrize(("commits", "standing"), [
    ([[event("a")], [event("b")]], ["a", "b"]),
    ([[event("a")], [event("b", "a")]], ["b"]),
    ([[event("a")], [event("b", "a")], [event("c", "b")]], ["c"]),
    ([[event("a")], [event("b", "a", kind="withdrawn")]], []),
    ([[event("a", bearing_id=None)], [event("o", bearing_id="OTHER")]], ["a"]),
])  # fmt: skip
def test_corrections_stand_in_place_of_what_they_correct(tmp_path, commits, standing):
    store = Store.open(tmp_path / "store")
    with store.writer() as writer:
        for rows in commits:
            writer.commit("record", NOW, {"events": rows})
    found = events_of(store.snapshot(), {"bearing_id": "B", "machine_id": "M"})
    assert [row["event_id"] for row in found] == standing
