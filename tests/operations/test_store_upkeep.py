"""Status, integrity, backup and restore."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
import sqlalchemy as sa

from condlube.errors import Busy, StoreError
from condlube.operations import upkeep
from condlube.schema.arrow import rows_to_table
from condlube.store.layout import LAYOUT
from condlube.store.store import Store

NOW = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
NIGHT = date(2026, 3, 1)
FIRST = datetime(2026, 2, 27, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    store = Store.open(tmp_path / "store")
    times = [FIRST + timedelta(hours=k) for k in range(72)]
    readings = [{"point_id": "P", "time": t, "value": 1.0, "known_at": NOW, "ingest_id": "i"} for t in times]
    rejects = [{"ingest_id": "i", "line": k, "field": "value", "known_at": NOW} for k in range(3)]
    ingest = {"ingest_id": "i", "lines": 80, "stored": 72, "duplicate": 5, "rejected": 3}
    decided = {"run_id": "r", "night": NIGHT, "bearing_id": "B", "call": "hold"}
    with store.writer() as writer:
        writer.append("readings", rows_to_table("readings", readings))
        writer.append("rejects", rows_to_table("rejects", rejects))
        rows = [{**ingest, "file": "f.csv", "first": times[0], "last": times[-1], "known_at": NOW}]
        writer.commit("ingest", NOW, {"ingests": rows})
        writer.append("decisions", rows_to_table("decisions", [decided]))
        shown = {name: decided[name] for name in ("run_id", "night", "bearing_id")}
        writer.append("evidence", rows_to_table("evidence", [{**shown, "ordinal": 0}]))
        writer.commit("night", NOW, {"runs": [{"run_id": "r", "night": NIGHT, "as_of": NOW}]})
    return store


def content(store):
    snapshot = store.snapshot()
    tables = {table: sorted(map(str, snapshot.read(table).to_pylist())) for table in LAYOUT}
    return tables, {name: store.ledger_rows(name) for name in ("ingests", "runs", "commits", "stores", "events")}


def test_status_of_a_store(store):
    found = upkeep.store_status(store)
    assert found.faults is None
    told = found.store
    assert (told.commit_id, told.ingests, told.runs, told.events, told.last_night) == (3, 1, 1, 0, NIGHT)
    assert (told.first_reading, told.last_reading) == (FIRST, FIRST + timedelta(hours=71))
    readings = next(table for table in told.tables if table.table == "readings")
    assert (readings.rows, readings.files, readings.first_month, readings.last_month) == (72, 2, "2026-02", "2026-03")
    on_disk = sum(path.stat().st_size for path in (store.folder / "readings").rglob("*.parquet"))
    assert readings.bytes == on_disk < told.bytes_on_disk


def test_status_of_an_empty_store(tmp_path):
    empty = Store.open(tmp_path / "empty")
    with empty.writer():
        pass
    found = upkeep.store_status(empty, check=True)
    assert found.faults == ()
    assert {table.rows for table in found.store.tables} == {0}
    assert (found.store.last_night, found.store.first_reading) == (None, None)


def test_a_sound_store_has_no_faults_and_every_file_is_read(store):
    read = []
    assert upkeep.store_status(store, check=True, on_file=read.append).faults == ()
    assert len(read) == 2 + 1 + 1 + 1


def files(store, table):
    return sorted((store.folder / table).glob("month=*/*.parquet"))


def test_damage_inside_a_file_is_found_and_named(store):
    path = files(store, "readings")[0]
    content = bytearray(path.read_bytes())
    content[len(content) // 4] ^= 0xFF
    content[len(content) // 4 + 1] ^= 0xFF
    path.write_bytes(content[: len(content) // 2])
    (found,) = upkeep.store_status(store, check=True).faults
    assert found.startswith(f"{path}: cannot be read")


def test_missing_files_and_tables_are_found(store):
    path = files(store, "evidence")[0]
    path.unlink()
    shutil.rmtree(store.folder / "summaries")
    found = upkeep.store_status(store, check=True)
    told = found.faults
    assert found.store is None
    assert f"{path}: is missing" in told
    assert any("summaries" in line for line in told)


@pytest.mark.parametrize(
    ("table", "row", "message"),
    [
        ("readings", {"point_id": "P", "time": NOW, "ingest_id": "x"}, "1 rows of ingest x, which the ledger does not"),
        ("readings", {"point_id": "P", "time": NOW, "ingest_id": "i"}, "72 readings by the ledger, 73 in the table"),
        ("rejects", {"ingest_id": "i", "line": 9, "known_at": NOW}, "3 lines rejected by the ledger, 4 rows in the"),
        ("decisions", {"run_id": "y", "night": NIGHT, "bearing_id": "B"}, "rows of run y, which the ledger does not"),
        ("evidence", {"run_id": "y", "night": NIGHT, "bearing_id": "B"}, "rows of run y, which the ledger does not"),
    ],
)
def test_rows_that_the_ledger_cannot_account_for(store, table, row, message):
    with store.writer() as writer:
        writer.append(table, rows_to_table(table, [row]))
        writer.commit("by mistake", NOW)
    (found,) = upkeep.store_status(store, check=True).faults
    assert message in found


def test_one_reject_may_stand_for_a_line_of_many_cells_but_none_for_none(store):
    many = {"ingest_id": "i2", "file": "w.csv", "lines": 40, "stored": 0, "duplicate": 0, "rejected": 40}
    with store.writer() as writer:
        writer.append("rejects", rows_to_table("rejects", [{"ingest_id": "i2", "line": 1, "known_at": NOW}]))
        writer.commit("wide", NOW, {"ingests": [many]})
        assert upkeep.store_status(store, check=True).faults == ()
        writer.commit("lost", NOW, {"ingests": [{**many, "ingest_id": "i3"}]})
    (found,) = upkeep.store_status(store, check=True).faults
    assert "40 lines rejected by the ledger, 0 rows" in found


def test_ledger_rows_that_do_not_add_up(store):
    wrong = {"ingest_id": "j", "file": "g.csv", "lines": 5, "stored": 0, "duplicate": 1, "rejected": 0}
    store.record("x", NOW, {"ingests": [wrong], "runs": [{"run_id": "z", "night": NIGHT}]})
    first, second = upkeep.store_status(store, check=True).faults
    assert "g.csv: 5 lines, but stored, duplicate and rejected are 1" in first
    assert "run z: no decision" in second


def test_a_backup_is_a_store_that_reads_where_it_lies_and_comes_back_equal(store, tmp_path):
    with store.writer() as writer:
        writer.append("readings", rows_to_table("readings", [{"point_id": "pending", "time": NOW}]))
    before = content(store)
    assert upkeep.backup(store, tmp_path / "backup").faults == ()
    assert content(Store.open(tmp_path / "backup")) == before
    shutil.rmtree(store.folder)
    assert upkeep.restore(tmp_path / "backup", store).faults == ()
    assert content(store) == before
    with store.writer() as writer:
        writer.append("readings", rows_to_table("readings", [{"point_id": "Q", "time": NOW, "ingest_id": "k"}]))
        writer.commit("goes on", NOW, {"ingests": [{"ingest_id": "k"}]})
    assert store.snapshot().read("readings").num_rows == 73
    assert content(Store.open(tmp_path / "backup")) == before


def test_a_backup_after_upkeep_goes_on_being_kept_up(store, tmp_path):
    for day in range(6):
        with store.writer() as writer:
            time = FIRST + timedelta(hours=day, minutes=30)
            writer.append("readings", rows_to_table("readings", [{"point_id": "P", "time": time, "ingest_id": "k"}]))
            writer.commit("late", NOW)
    upkeep.compact(store, NOW)
    upkeep.backup(store, tmp_path / "backup")
    assert upkeep.compact(Store.open(tmp_path / "backup"), NOW).ordered == ()
    assert Store.open(tmp_path / "backup").snapshot().read("readings").num_rows == 78


def test_nothing_is_copied_over(store, tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "file").write_text("mine")
    for act in (lambda: upkeep.backup(store, tmp_path / "there"), lambda: upkeep.restore(store.folder, store)):
        with pytest.raises(StoreError, match="is not empty"):
            act()
    assert (tmp_path / "there" / "file").read_text() == "mine"


def test_what_is_not_there_cannot_be_copied(store, tmp_path):
    with pytest.raises(StoreError, match="no store to copy"):
        upkeep.restore(tmp_path / "nothing", Store.open(tmp_path / "new"))
    with pytest.raises(StoreError, match="no store to copy"):
        upkeep.backup(Store.open(tmp_path / "nothing"), tmp_path / "new")
    with pytest.raises(StoreError):
        upkeep.backup(store, tmp_path / "no" / "parent")
    assert not (tmp_path / "new").exists()


def test_a_backup_waits_for_nobody(store, tmp_path):
    with store.writer(), pytest.raises(Busy):
        upkeep.backup(store, tmp_path / "backup")
    assert not (tmp_path / "backup").exists()


def test_a_backup_that_broke_off_does_not_stand_in_the_way(store, tmp_path, monkeypatch):
    def full(*args, **kwargs):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("condlube.store.copy.to_disk", full)
        with pytest.raises(StoreError, match="disk is full"):
            upkeep.backup(store, tmp_path / "backup")
    assert not (tmp_path / "backup").exists()
    assert upkeep.backup(store, tmp_path / "backup").faults == ()


def test_a_store_moves_to_postgresql_and_back(store, tmp_path):
    given = os.environ.get("CONDLUBE_TEST_POSTGRES")
    if not given:
        pytest.skip("PostgreSQL: CONDLUBE_TEST_POSTGRES is not set")
    schema, engine = f"condlube_{uuid4().hex}", sa.create_engine(given, poolclass=sa.pool.NullPool)
    with engine.begin() as connection:
        connection.execute(sa.schema.CreateSchema(schema))
    try:
        url = sa.make_url(given).update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(False)
        moved = Store.open(tmp_path / "moved", url)
        before = content(store)
        assert upkeep.restore(store.folder, moved).faults == ()
        assert content(moved) == before
        with moved.writer(), pytest.raises(Busy), Store.open(moved.folder, url).writer():
            pass
        assert upkeep.backup(moved, tmp_path / "backup").faults == ()
        assert content(Store.open(tmp_path / "backup")) == before
        with pytest.raises(StoreError, match="there is a ledger already"):
            upkeep.restore(store.folder, Store.open(tmp_path / "again", url))
    finally:
        with engine.begin() as connection:
            connection.execute(sa.schema.DropSchema(schema, cascade=True))
