"""Upkeep: nothing that is valid changes, what it leaves is fewer and ordered files."""

from __future__ import annotations

import os
import runpy
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from deltalake import DeltaTable

from condlube.errors import Busy
from condlube.schema.arrow import rows_to_table
from condlube.store import delta, order
from condlube.store.layout import LAYOUT
from condlube.store.ledger import Ledger
from condlube.store.store import Store
from condlube.store.upkeep import keep_up
from condlube.store.views import readings

NOW = datetime(2026, 4, 2, 3, tzinfo=UTC)
crashing = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("crashing.py"))))
PREFIX = "PLANT-NORTH.AREA-01.UNIT-22.MACHINE-"
BEARINGS = [f"{PREFIX}{k:03}" for k in range(60)]


def nights(first, count):
    return [first + timedelta(days=k) for k in range(count)]


def night_tables(night, calls=lambda k: "hold"):
    run_id = f"run-{night}"
    key = [{"run_id": run_id, "night": night, "bearing_id": b} for b in reversed(BEARINGS)]
    decided = [{**row, "call": calls(k), "second_action": ""} for k, row in enumerate(key)]
    shown = [{**row, "ordinal": k, "bits_starved": k / 8} for row in key for k in range(3)]
    at = datetime(night.year, night.month, night.day, 12, tzinfo=UTC)
    read = [{"point_id": b, "time": at, "value": 1.0, "known_at": at, "ingest_id": run_id} for b in BEARINGS]
    tables = {"decisions": decided, "evidence": shown, "readings": read}
    return {name: rows_to_table(name, rows) for name, rows in tables.items()}


def fill(store, days, calls=lambda k: "hold"):
    with store.writer() as writer:
        for night in days:
            for name, table in night_tables(night, calls).items():
                writer.append(name, table)
            writer.commit(f"night {night}", NOW, {"runs": [{"run_id": f"run-{night}", "night": night}]})


def content(store):
    snapshot = store.snapshot()
    return {table: sorted(map(str, snapshot.read(table).to_pylist())) for table in LAYOUT}


def files(store, table):
    snapshot = store.snapshot()
    return DeltaTable(str(store.folder / table), version=snapshot.versions[table]).file_uris()


def test_closed_months_are_ordered_once_and_hold_what_they_held(store, monkeypatch):
    fill(store, nights(date(2026, 2, 21), 41))
    before = content(store)
    monkeypatch.setattr(order, "_CELLS", 3000)
    monkeypatch.setattr(order, "_NIGHTS_CELLS", 8000)
    steps = []
    done = keep_up(store, NOW, on_step=steps.append)
    months = ["2026-02", "2026-03"]
    assert sorted(done.ordered) == [(t, m) for t in ("decisions", "evidence", "readings") for m in months]
    assert len(steps) == len(done.ordered) + 1
    assert content(store) == before
    assert keep_up(store, NOW).ordered == ()
    assert [u for u in files(store, "readings") if "2026-04" in u], "the present month is left to the nights"
    for table in ("decisions", "evidence", "readings"):
        for month in months:
            of = sorted((u for u in files(store, table) if month in u), key=lambda u: first_key(u, table))
            assert len(of) > 1, "portions must be small enough for this test to prove anything"
            parts = [pq.ParquetFile(u).read() for u in of]
            for rows in parts if table == "decisions" else [pa.concat_tables(parts)]:
                keys = rows.select(list(LAYOUT[table].order))
                assert keys.equals(keys.sort_by([(name, "ascending") for name in keys.column_names]))
            if table == "decisions":
                held = [set(rows["night"].to_pylist()) for rows in parts]
                assert len(set.union(*held)) == sum(map(len, held)), "a night lies in one file"
                assert max(map(len, held)) > 1


def first_key(uri, table):
    return pq.ParquetFile(uri).read([LAYOUT[table].cut])[0][0].as_py()


def test_a_few_late_rows_are_no_reason_to_rewrite_a_month(store):
    fill(store, nights(date(2026, 3, 1), 20))
    keep_up(store, NOW)
    for k in range(4):
        fill(store, [date(2026, 3, 25 + k)])
    assert keep_up(store, NOW).ordered == ()
    fill(store, [date(2026, 3, 30)])
    assert len(keep_up(store, NOW).ordered) == 3


def test_the_order_of_appends_outlives_rewriting(store, make):
    at = datetime(2026, 3, 5, tzinfo=UTC)
    with store.writer() as writer:
        for k in range(9):
            row = {"point_id": "P", "time": at, "value": float(k), "known_at": at, "ingest_id": str(k)}
            writer.append("readings", rows_to_table("readings", [row]))
        writer.commit("one", NOW)
    for k in range(7):
        fill(store, [date(2026, 3, 6 + k)])
    assert ("readings", "2026-03") in keep_up(store, NOW).ordered
    (newest,) = readings(store.snapshot(), NOW, NOW, [("point_id", "=", "P")])["value"].to_pylist()
    assert newest == 8.0


def test_evidence_of_plain_holds_is_let_go_after_its_time_and_the_calls_stay(store):
    calls = ["hold", "grease", "inspect", None]
    fill(store, nights(date(2025, 1, 5), 3), lambda k: calls[k % 4])
    fill(store, [date(2025, 3, 1), NOW.date()])
    keep_up(store, NOW, retention_days=400)
    snapshot = store.snapshot()
    old = [("night", "<", date(2025, 2, 1))]
    assert snapshot.read("decisions", None, old).num_rows == 3 * len(BEARINGS)
    kept = snapshot.read("evidence", ["bearing_id"], old)["bearing_id"].to_pylist()
    flagged = [b for k, b in enumerate(reversed(BEARINGS)) if calls[k % 4] != "hold"]
    assert sorted(kept) == sorted(flagged * 9)
    assert snapshot.read("evidence", None, [("night", ">=", date(2025, 2, 1))]).num_rows == 6 * len(BEARINGS)
    assert keep_up(store, NOW, retention_days=400).trimmed == ()


def test_a_hold_with_a_second_action_is_no_plain_hold(store):
    night = date(2025, 1, 5)
    tables = night_tables(night)
    second = pa.array(["inspect" if k == 7 else "" for k in range(len(BEARINGS))])
    place = tables["decisions"].schema.get_field_index("second_action")
    with store.writer() as writer:
        writer.append("decisions", tables["decisions"].set_column(place, "second_action", second))
        writer.append("evidence", tables["evidence"])
        writer.commit("night", NOW, {"runs": [{"run_id": "later", "night": NOW.date()}]})
    assert keep_up(store, NOW).trimmed == ("2025-01",)
    assert store.snapshot().read("evidence").num_rows == 3


def test_the_months_kept_are_never_younger_than_said(store):
    fill(store, [date(2025, 2, 26), date(2025, 1, 31), NOW.date()])
    assert keep_up(store, NOW, retention_days=400).trimmed == ("2025-01",)
    assert (NOW.date() - date(2025, 1, 31)).days > 400


def test_a_clock_far_ahead_costs_no_evidence(store):
    fill(store, [date(2026, 3, 1), date(2026, 3, 2)])
    assert keep_up(store, datetime(2099, 1, 1, tzinfo=UTC)).trimmed == ()
    with store.writer() as writer:
        writer.append("evidence", night_tables(date(2026, 1, 1))["evidence"])
        writer.commit("no run", NOW)
    assert keep_up(store, datetime(2099, 1, 1, tzinfo=UTC)).trimmed == ()


def test_files_go_after_seven_days_and_not_before(store):
    fill(store, nights(date(2026, 3, 1), 10))
    first = store.snapshot()
    assert keep_up(store, NOW).removed == 0
    assert first.read("decisions").num_rows == 10 * len(BEARINGS), "a reader's old snapshot still reads"
    left = store.folder / "decisions" / "month=2026-03" / "part-left-by-a-kill.parquet"
    left.write_bytes(b"x")
    assert keep_up(store, NOW).removed == 0
    old = time.time() - 8 * 86400
    os.utime(left, (old, old))
    assert keep_up(store, NOW).removed == 1
    assert not left.exists()
    before = content(store)
    assert keep_up(store, NOW, vacuum_days=0).removed == 30
    assert content(store) == before


def test_the_log_is_folded_and_old_entries_go(store):
    """Entries go that are older than 30 days and lie before a checkpoint that is."""
    fill(store, nights(date(2026, 3, 1), 10))
    keep_up(store, NOW)
    log = store.folder / "decisions" / "_delta_log"
    old = time.time() - 60 * 86400
    for entry in log.iterdir():
        os.utime(entry, (old, old))
    fill(store, [date(2026, 4, 1)])
    before = content(store)
    assert len(list(log.glob("*.json"))) > 10
    keep_up(store, NOW)
    assert len(list(log.glob("*.json"))) < 5
    assert content(store) == before
    fill(store, [date(2026, 4, 2)])
    assert store.snapshot().read("decisions").num_rows == 12 * len(BEARINGS)


def test_upkeep_waits_for_nobody(store):
    with store.writer(), pytest.raises(Busy):
        keep_up(store, NOW)


class Died(BaseException):
    """Stands for the end of the process."""


def die():
    raise Died


def test_dying_at_any_point_of_upkeep_changes_nothing_that_is_valid(store, monkeypatch):
    """Each attempt dies one write later than the one before, until one gets through."""
    monkeypatch.setattr("os.fsync", lambda handle: None)
    fill(store, nights(date(2025, 1, 1), 2), lambda k: "grease" if k % 2 else "hold")
    fill(store, nights(date(2026, 3, 20), 6))
    held = content(store)
    trimmed = held | {"evidence": [row for row in held["evidence"] if "datetime.date(2026" in row or kept(row)]}
    places = (
        (order, "write_deltalake"),
        (order, "rewrite"),
        (delta, "vacuum"),
        (delta, "clean_log"),
        (Ledger, "commit"),
    )
    for died in range(200):
        points = crashing.Points(died + 1, die)
        with monkeypatch.context() as patch:
            for place in places:
                patch.setattr(*points.around(*place))
            try:
                keep_up(store, NOW)
                break
            except Died:
                assert content(Store.open(store.folder)) in (held, trimmed)
    assert died > 20
    assert content(store) == trimmed


def kept(row):
    number = int(row.split(PREFIX)[1][:3])
    return (len(BEARINGS) - 1 - number) % 2 == 1
