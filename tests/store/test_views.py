"""What a run sees of rows that were written several times."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import pyarrow as pa
import pytest

from condlube.schema.arrow import rows_to_table
from condlube.store.views import (
    events_visible,
    expected,
    newest_known,
    readings,
    reviews_visible,
    run_before,
    run_of,
    summaries,
)  # fmt: skip

T = datetime(2026, 3, 1, 12, tzinfo=UTC)
LATE = datetime(2030, 1, 1, tzinfo=UTC)
DAY = date(2026, 3, 1)


def hours(n):
    return timedelta(hours=n)


def reading(value, time=T, known_at=T, ingest_id="a", point="P"):
    return {"point_id": point, "time": time, "value": value, "known_at": known_at, "ingest_id": ingest_id}


def fill(store, table, *appends):
    with store.writer() as writer:
        for k, rows in enumerate(appends):
            writer.append(table, rows_to_table(table, rows))
            writer.commit(f"append {k}", T)
    return store.snapshot()


def values(table, column="value"):
    return sorted(table[column].to_pylist())


def test_of_one_point_and_time_the_newest_ingest_wins(store):
    other = reading(9.0, point="Q")
    snapshot = fill(
        store, "readings", [reading(1.0), other], [reading(2.0, ingest_id="b")], [reading(3.0, T + hours(1))]
    )
    assert values(readings(snapshot, LATE, LATE)) == [2.0, 3.0, 9.0]
    assert values(snapshot.read("readings")) == [1.0, 2.0, 3.0, 9.0], "the older stays visible"


def test_a_newer_ingest_counts_from_when_it_was_known(store):
    corrected = reading(2.0, known_at=T + hours(48), ingest_id="b")
    snapshot = fill(store, "readings", [reading(1.0, known_at=T + hours(6))], [corrected])
    known = {6: [1.0], 47: [1.0], 48: [2.0], 5: []}
    assert {n: values(readings(snapshot, LATE, T + hours(n))) for n in known} == known


def test_a_correction_out_of_a_history_wins_although_its_assumed_instant_is_earlier(store):
    """History re-exported with the right unit: known_at is observation time plus delay, before the live row's."""
    live, history = reading(1.0, known_at=T + hours(30)), reading(2.0, known_at=T + hours(6), ingest_id="b")
    snapshot = fill(store, "readings", [live], [history])
    assert values(readings(snapshot, LATE, T + hours(30))) == [2.0]


def test_as_of_is_the_first_instant_not_seen(store):
    snapshot = fill(store, "readings", [reading(k, T + hours(k)) for k in range(4)])
    assert values(readings(snapshot, T + hours(2), LATE)) == [0.0, 1.0]


def test_filters_and_columns_of_a_view(store):
    snapshot = fill(store, "readings", [reading(1.0), reading(5.0, point="Q")], [reading(2.0, ingest_id="b")])
    found = readings(snapshot, LATE, LATE, [("point_id", "=", "P")], ["value"])
    assert found.column_names == ["value"]
    assert values(found) == [2.0]
    assert readings(snapshot, LATE, LATE, [("point_id", "=", "none")]).num_rows == 0


def test_compaction_of_the_order_of_appends_does_not_matter(store):
    """Newer rows win whatever order the file holds them in: here 200 points rewritten in random order, five times."""
    rng = random.Random(7)
    appends = []
    for k in range(5):
        rows = [reading(float(k), point=f"P{p}", ingest_id=str(k)) for p in rng.sample(range(200), 120)]
        appends.append(rows)
    expected_values = {row["point_id"]: row["value"] for rows in appends for row in rows}
    found = readings(fill(store, "readings", *appends), LATE, LATE)
    assert dict(zip(found["point_id"].to_pylist(), found["value"].to_pylist(), strict=True)) == expected_values


def summary(cell, median, known_at, point="P", day=DAY):
    return {"point_id": point, "date": day, "cell": cell, "known_at": known_at, "median": median}


def test_a_newer_version_of_a_day_replaces_all_its_cells(store):
    first = [summary(cell, 10.0 + cell, T) for cell in (-1, 0, 1, 2)] + [summary(0, 5.0, T, day=date(2026, 2, 28))]
    second = [summary(cell, 20.0 + cell, T + hours(5)) for cell in (0, 1)]
    snapshot = fill(store, "summaries", first, second)
    assert values(summaries(snapshot, LATE), "median") == [5.0, 20.0, 21.0]
    assert values(summaries(snapshot, T + hours(4)), "median") == [5.0, 9.0, 10.0, 11.0, 12.0]
    assert summaries(snapshot, T - hours(1)).num_rows == 0


def test_of_two_versions_known_at_the_same_instant_the_later_append_holds(store):
    snapshot = fill(store, "summaries", [summary(0, 1.0, T), summary(1, 1.5, T)], [summary(0, 2.0, T)])
    assert values(summaries(snapshot, LATE), "median") == [2.0]


def test_a_version_made_later_from_less_does_not_hide_the_fuller_one(store):
    """A replay as known by an earlier instant writes the day as it was known then."""
    snapshot = fill(store, "summaries", [summary(0, 2.0, T + hours(9))], [summary(0, 1.0, T)])
    assert values(summaries(snapshot, LATE), "median") == [2.0]
    assert values(summaries(snapshot, T + hours(8)), "median") == [1.0]


def test_every_state_of_a_reference_is_seen_once(store):
    def state(name, known_at, spread):
        fields = {"reference_from": T, "reference_state": name, "known_at": known_at, "reference_spread": spread}
        return {"point_id": "P", **fields}

    collecting, frozen = state("collecting", T, 1.0), state("frozen", T + hours(1), 2.0)
    snapshot = fill(store, "expected", [collecting, frozen], [state("frozen", T + hours(1), 3.0)])
    assert values(expected(snapshot, LATE), "reference_spread") == [1.0, 3.0]
    assert values(expected(snapshot, T), "reference_spread") == [1.0]


def test_views_of_empty_tables_have_the_right_columns(store):
    with store.writer():
        pass
    snapshot = store.snapshot()
    assert readings(snapshot, LATE, LATE).num_rows == 0
    assert summaries(snapshot, LATE, (), ["cell"]).schema == pa.schema([("cell", pa.int64())])
    assert events_visible(snapshot, LATE, LATE).num_rows == 0
    assert newest_known(snapshot) is None


def event(event_id, time=T, known_at=T, kind="relubrication", supersedes=None):
    fields = {"event_id": event_id, "time": time, "known_at": known_at, "kind": kind, "supersedes": supersedes}
    return {**fields, "bearing_id": "B"}


def record(store, *commits):
    with store.writer() as writer:
        for rows in commits:
            writer.commit("record", T, {"events": rows})
    return store.snapshot()


def shown(snapshot, as_of=LATE, known_by=LATE):
    return sorted(events_visible(snapshot, as_of, known_by)["event_id"].to_pylist())


def test_a_correction_takes_the_place_of_what_it_supersedes_once_it_is_known(store):
    snapshot = record(store, [event("a"), event("b")], [event("a2", known_at=T + hours(5), supersedes="a")])
    assert shown(snapshot) == ["a2", "b"]
    assert shown(snapshot, known_by=T + hours(4)) == ["a", "b"]


def test_a_correction_of_a_correction(store):
    snapshot = record(store, [event("a")], [event("b", supersedes="a")], [event("c", supersedes="b")])
    assert shown(snapshot) == ["c"]


def test_of_two_corrections_of_one_event_the_newest_holds(store):
    snapshot = record(store, [event("a")], [event("b", supersedes="a")], [event("c", supersedes="a")])
    assert shown(snapshot) == ["c"]


def test_an_event_moved_to_after_as_of_is_gone_from_before_it(store):
    snapshot = record(store, [event("a")], [event("b", time=T + hours(72), supersedes="a")])
    assert shown(snapshot, as_of=T + hours(24)) == []
    assert shown(snapshot) == ["b"]


def test_a_withdrawn_event_is_gone_without_a_trace_in_what_runs_see(store):
    snapshot = record(store, [event("a"), event("b")], [event("w", kind="withdrawn", supersedes="a")])
    assert shown(snapshot) == ["b"]


def test_as_of_and_known_by_bound_the_events(store):
    snapshot = record(store, [event("a"), event("b", known_at=T + hours(9))])
    assert shown(snapshot, as_of=T) == []
    assert shown(snapshot, known_by=T) == ["a"]


def test_newest_known_is_that_of_anything_committed(store):
    with store.writer() as writer:
        writer.commit("one", T, {"ingests": [{"ingest_id": "a", "known_at": T}, {"ingest_id": "b"}]})
        assert newest_known(store.snapshot()) == T
        writer.commit("two", T, {"events": [event("a", known_at=T + hours(1))]})
        assert newest_known(store.snapshot()) == T + hours(1)
        writer.commit("three", T, {"reviews": [{"review_id": "r", "known_at": T + hours(2)}]})
        assert newest_known(store.snapshot()) == T + hours(2)
    assert reviews_visible(store.snapshot(), T).num_rows == 0
    assert reviews_visible(store.snapshot(), T + hours(2)).num_rows == 1


def test_the_latest_run_stands_for_its_night(store):
    nights = [date(2026, 3, 1), date(2026, 3, 3), date(2026, 3, 1)]
    with store.writer() as writer:
        for k, night in enumerate(nights):
            writer.commit("night", T, {"runs": [{"run_id": f"r{k}", "night": night}]})
    snapshot = store.snapshot()
    assert run_of(snapshot)["run_id"] == "r1"
    assert run_of(snapshot, nights[0])["run_id"] == "r2"
    assert run_of(snapshot, date(2026, 3, 2)) is None
    assert run_before(snapshot, nights[1])["run_id"] == "r2"
    assert run_before(snapshot, nights[0]) is None


@pytest.mark.parametrize("seed", range(20))
def test_against_a_plain_reading_of_the_rule(store, seed):
    """Random rewrites of few keys, against the rule spelled out row by row."""
    rng = random.Random(seed)
    appends = [
        [
            summary(cell, rng.random(), known, point=point)
            for point in rng.sample("PQR", rng.randint(1, 3))
            for known in [T + hours(rng.randint(0, 3))]
            for cell in rng.sample(range(4), rng.randint(1, 4))
        ]
        for _ in range(rng.randint(1, 6))
    ]
    snapshot = fill(store, "summaries", *appends)
    for known_by in (T + hours(k) for k in range(4)):
        best = {}
        for number, rows in enumerate(appends):
            for row in rows:
                if row["known_at"] <= known_by:
                    version = (row["known_at"], number)
                    held = best.setdefault((row["point_id"], row["date"]), (version, []))
                    if version > held[0]:
                        best[row["point_id"], row["date"]] = held = (version, [])
                    if version == held[0]:
                        held[1].append(row["median"])
        plain = sorted(median for _, medians in best.values() for median in medians)
        assert values(summaries(snapshot, known_by), "median") == plain
