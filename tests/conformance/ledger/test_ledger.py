"""What the store asks of its ledger, whichever database keeps it."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import sqlalchemy as sa

from condlube.errors import Busy, StoreError
from condlube.schema.tables import TABLES
from condlube.store import migrate
from condlube.store.engine import sole_writer, writing
from condlube.store.layout import LAYOUT
from condlube.store.ledger import Ledger
from condlube.store.sqltables import COMMITS, SQL_TABLES

NOW = datetime(2026, 3, 2, 6, 30, 0, 123456, tzinfo=UTC)
LEDGER_TABLES = [name for name, table in TABLES.items() if table.home == "ledger"]
RECORDED = [name for name in LEDGER_TABLES if name not in ("commits", "stores")]
VALUES = {
    "str": 'it\'s "ü😀"; DROP TABLE events; -- %s :x ?',
    "int": 2**62,
    "float": 0.1 + 0.2,
    "bool": False,
    "date": date(2024, 2, 29),
    "time": datetime(2024, 2, 29, 23, 59, 59, 999999, tzinfo=UTC),
}


def event(event_id, **fields):
    return {"event_id": event_id, "time": NOW, "kind": "relubrication", "known_at": NOW, **fields}


def commit(ledger, rows, made=None, base=None):
    return ledger.commit("test", NOW, rows, base or {}, made or {})


def test_a_new_ledger_has_one_commit_and_a_second_creation_changes_nothing(url):
    ledger = Ledger(url)
    assert not ledger.exists()
    ledger.create("first", {"readings": 3})
    assert ledger.exists()
    Ledger(url).create("second", {"readings": 9})
    assert ledger.commit_at()[:2] == (1, {"readings": 3})
    assert ledger.rows("stores") == [{"store_id": "first"}]


@pytest.mark.parametrize("table", RECORDED)
def test_every_column_of_every_table_comes_back_as_it_went_in(ledger, table):
    key = TABLES[table].key
    full = {c.name: VALUES[c.type] for c in TABLES[table]}
    bare = dict.fromkeys(full) | {name: {"str": "bare", "int": 7}[TABLES[table].column(name).type] for name in key}
    number = commit(ledger, {table: [full, bare]})
    for row in (full, bare):
        row |= {name: number for name in row if name == "commit_id"}
        row |= {name: NOW for name, value in row.items() if name == "committed_at" and value is None}
    read = {tuple(row[name] for name in key): row for row in ledger.rows(table)}
    assert read == {tuple(row[name] for name in key): row for row in (full, bare)}


def test_instants_come_back_in_utc_whatever_zone_they_came_in(ledger):
    there = timezone(timedelta(hours=5, minutes=45))
    commit(ledger, {"events": [event("a", time=NOW.astimezone(there))]})
    (row,) = ledger.rows("events")
    assert row["time"] == NOW
    assert row["time"].utcoffset() == timedelta(0)
    with pytest.raises(ValueError, match="time zone"):
        ledger.commit("test", datetime(2026, 1, 1), {}, {}, {})  # noqa: DTZ001


def test_commits_count_up_and_carry_versions_on(ledger):
    assert commit(ledger, {}, {"readings": 4}, {"readings": 0}) == 2
    assert commit(ledger, {}) == 3
    assert commit(ledger, {}, {"decisions": 1}, {"decisions": 0}) == 4
    assert ledger.commit_at().versions == dict.fromkeys(LAYOUT, 0) | {"readings": 4, "decisions": 1}
    assert ledger.commit_at(2).versions["decisions"] == 0


def test_rows_are_picked_by_value_list_null_and_commit(ledger):
    commit(ledger, {"events": [event("a", bearing_id="B1"), event("b", bearing_id="B2")]})
    second = commit(ledger, {"events": [event("c")]})

    def ids(where=None, until=None):
        return [row["event_id"] for row in ledger.rows("events", where, until)]

    assert ids() == ["a", "b", "c"]
    assert ids({"bearing_id": "B2"}) == ["b"]
    assert ids({"bearing_id": ["B1", "B2"], "event_id": "a"}) == ["a"]
    assert ids({"bearing_id": None}) == ["c"]
    assert ids({"bearing_id": []}) == []
    assert ids(until=second - 1) == ["a", "b"]
    with pytest.raises(KeyError):
        ledger.rows("events", {"colour": 1})


def test_the_same_row_again_is_no_fault_and_no_second_row(ledger):
    commit(ledger, {"events": [event("a", grease_g=3.5)]})
    commit(ledger, {"events": [event("a", grease_g=3.5), event("a", grease_g=3.5)]})
    assert len(ledger.rows("events")) == 1


def test_other_content_under_the_same_key_is_refused_whole(ledger):
    commit(ledger, {"events": [event("a", grease_g=3.5)]})
    with pytest.raises(StoreError, match="events: event_id a is already recorded with another grease_g, note"):
        commit(ledger, {"events": [event("b"), event("a", grease_g=4.0, note="x")]})
    assert [row["event_id"] for row in ledger.rows("events")] == ["a"]
    assert ledger.commit_at().commit_id == 2


def test_a_run_that_is_forced_anew_takes_the_place_of_its_row(ledger):
    commit(ledger, {"runs": [{"run_id": "r", "counts": "{}"}]})
    again = commit(ledger, {"runs": [{"run_id": "r", "counts": '{"hold": 3}'}]})
    (run,) = ledger.rows("runs")
    assert (run["counts"], run["commit_id"]) == ('{"hold": 3}', again)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"colour": 1}, "colour"),
        ({"event_id": "x", "note": "a\x00b"}, "NUL"),
        ({"event_id": None}, "event_id|null|NULL"),
    ],
)
def test_rows_that_cannot_be_kept_leave_nothing_behind(ledger, row, message):
    with pytest.raises((StoreError, KeyError), match=message):
        commit(ledger, {"events": [event("good"), row]})
    assert ledger.rows("events") == []
    assert ledger.commit_at().commit_id == 1


def test_a_commit_from_versions_that_moved_meanwhile_is_refused(ledger):
    commit(ledger, {}, {"readings": 4}, {"readings": 0})
    with pytest.raises(StoreError, match="another writer has meanwhile committed readings"):
        commit(ledger, {"events": [event("a")]}, {"readings": 5}, {"readings": 0})
    assert ledger.rows("events") == []


def test_a_writer_waits_for_the_one_before_it(ledger):
    held, free = threading.Event(), threading.Event()

    def hold():
        with writing(ledger.engine) as connection:
            connection.execute(sa.insert(SQL_TABLES["events"]), {"event_id": "slow", "commit_id": 0})
            held.set()
            free.wait(10)

    slow = threading.Thread(target=hold)
    slow.start()
    held.wait(10)
    threading.Timer(0.5, free.set).start()
    began = time.monotonic()
    assert ledger.rows("events") == []
    assert time.monotonic() - began < 0.4, "a reader does not wait"
    commit(ledger, {"events": [event("next")]})
    assert time.monotonic() - began > 0.4
    slow.join()
    assert [row["event_id"] for row in ledger.rows("events")] == ["slow", "next"]


WRITER = """
import sys
from datetime import UTC, datetime
from condlube.store.ledger import Ledger
ledger, name, count = Ledger(sys.argv[1]), sys.argv[2], int(sys.argv[3])
now = datetime(2026, 1, 1, tzinfo=UTC)
print("ready", flush=True)
sys.stdin.readline()
for k in range(count):
    ledger.commit(name, now, {"events": [{"event_id": f"{name}{k}", "time": now, "kind": "inspection"}]}, {}, {})
"""


def start(url, name, count):
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", WRITER, url, name, str(count)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_three_writers_at_once_lose_nothing_and_never_meet_a_lock(ledger, url):
    count = 40
    writers = [start(url, name, count) for name in "abc"]
    assert [w.stdout.readline() for w in writers] == ["ready\n"] * 3
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.flush()
    assert [(w.communicate(timeout=60)[1], w.returncode) for w in writers] == [("", 0)] * 3
    assert len(ledger.rows("events")) == 3 * count
    assert [row["commit_id"] for row in ledger.rows("commits")] == list(range(1, 3 * count + 2))


def test_a_writer_killed_inside_its_transaction_leaves_nothing_and_blocks_nobody(ledger, url):
    script = (
        "import os, signal, sys, sqlalchemy as sa\n"
        "from condlube.store.ledger import Ledger\n"
        "from condlube.store.engine import writing\n"
        "from condlube.store.sqltables import SQL_TABLES\n"
        "with writing(Ledger(sys.argv[1]).engine) as connection:\n"
        "    connection.execute(sa.insert(SQL_TABLES['events']), {'event_id': 'lost', 'commit_id': 2})\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", script, url], check=False).returncode == -9
    assert ledger.rows("events") == []
    assert commit(ledger, {"events": [event("next")]}) == 2


def test_the_writer_lock_of_a_shared_database_lets_one_in_and_ends_with_it(ledger):
    if ledger.engine.dialect.name == "sqlite":
        with sole_writer(ledger.engine), sole_writer(ledger.engine):
            return
    with sole_writer(ledger.engine), pytest.raises(Busy), sole_writer(ledger.engine):
        pass
    with sole_writer(ledger.engine):
        pass


def test_a_ledger_of_a_newer_condlube_is_refused_untouched(ledger):
    with writing(ledger.engine) as connection:
        newer = {"commit_id": 2, "source": "x", "versions": "{}", "schema_version": migrate.SCHEMA_VERSION + 1}
        connection.execute(sa.insert(COMMITS), newer)
    for act in (ledger.commit_at, lambda: commit(ledger, {}), lambda: ledger.migrate({})):
        with pytest.raises(StoreError, match="newer condlube"):
            act()
    assert len(ledger.rows("commits")) == 2


def test_what_an_older_ledger_lacks_reads_as_null_until_a_writer_adds_it(ledger, url):
    commit(ledger, {"events": [event("a", note="kept")]})
    with writing(ledger.engine) as connection:
        connection.exec_driver_sql("ALTER TABLE events DROP COLUMN who")
        connection.exec_driver_sql("DROP TABLE reviews")
    old = Ledger(url)
    assert [(row["note"], row["who"]) for row in old.rows("events")] == [("kept", None)]
    assert old.rows("reviews") == []
    old.migrate({})
    commit(old, {"events": [event("b", who="me")], "reviews": [{"review_id": "r"}]})
    assert [row["who"] for row in old.rows("events")] == [None, "me"]
    assert old.commit_at().commit_id == 3, "adding columns is no commit"


def test_a_step_of_the_schema_is_taken_once_and_committed(ledger, monkeypatch):
    commit(ledger, {"events": [event("a", note="old")]})
    taken = []

    def step(connection, tables):
        taken.append(tables)
        connection.exec_driver_sql("UPDATE events SET note = 'new'")

    monkeypatch.setattr("condlube.store.ledger.SCHEMA_VERSION", 2)
    monkeypatch.setitem(migrate.STEPS, 1, step)
    ledger.migrate({})
    ledger.migrate({})
    assert taken == [{}]
    assert ledger.rows("events")[0]["note"] == "new"
    assert ledger.rows("commits")[-1]["schema_version"] == 2


def test_a_step_that_fails_leaves_the_ledger_as_it_was(ledger, monkeypatch):
    def step(connection, tables):
        connection.exec_driver_sql("UPDATE events SET note = 'half'")
        raise StoreError("no")

    commit(ledger, {"events": [event("a", note="old")]})
    monkeypatch.setattr("condlube.store.ledger.SCHEMA_VERSION", 2)
    monkeypatch.setitem(migrate.STEPS, 1, step)
    with pytest.raises(StoreError, match="no"):
        ledger.migrate({})
    assert ledger.rows("events")[0]["note"] == "old"
    assert ledger.commit_at().schema_version == 1


def test_counts_and_newest_values_up_to_a_commit(ledger):
    assert ledger.count("events", 9) == 0
    assert ledger.newest("events", "known_at", 9) is None
    commit(ledger, {"events": [event("a"), event("b", known_at=NOW + timedelta(hours=1))]})
    last = commit(ledger, {"events": [event("c", known_at=NOW + timedelta(hours=2))]})
    assert [ledger.count("events", until) for until in (last - 1, last)] == [2, 3]
    newest = [ledger.newest("events", "known_at", until) for until in (last - 1, last)]
    assert newest == [NOW + timedelta(hours=1), NOW + timedelta(hours=2)]
