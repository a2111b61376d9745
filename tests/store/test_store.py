import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from deltalake import DeltaTable

from condlube.errors import StoreError
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.store.store import Store


def test_appended_rows_are_visible_after_the_commit_only(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        assert writer.snapshot().read("readings").num_rows == 0
        assert store.snapshot().read("readings").num_rows == 0
        writer.commit("ingest a", make.now)
        assert store.snapshot().read("readings").num_rows == 144
    assert make.same(store.snapshot().read("readings"), make.readings())


def test_a_snapshot_does_not_change_while_others_write(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.commit("one", make.now, {"ingests": [{"ingest_id": "a"}]})
        before = store.snapshot()
        writer.append("readings", make.readings("b"))
        writer.commit("two", make.now, {"ingests": [{"ingest_id": "b"}]})
    assert before.read("readings").num_rows == 144
    assert [row["ingest_id"] for row in before.ledger_rows("ingests")] == ["a"]
    assert before.readings_version() == 1
    assert store.snapshot().readings_version() == 2
    assert store.snapshot(before.commit_id).versions == before.versions


def test_one_commit_makes_all_tables_valid_together(store, make):
    with store.writer() as writer:
        writer.append("decisions", make.decisions())
        writer.append("evidence", make.evidence())
        number = writer.commit("night", make.now, {"runs": [{"run_id": "r1", "night": date(2026, 3, 1)}]})
    snapshot = store.snapshot()
    assert (snapshot.versions["decisions"], snapshot.versions["evidence"], snapshot.versions["readings"]) == (1, 1, 0)
    (run,) = snapshot.ledger_rows("runs")
    assert run["commit_id"] == number == snapshot.commit_id
    assert run["committed_at"] == make.now


def test_columns_come_as_the_schema_names_them_and_nothing_else(store, make):
    with store.writer() as writer:
        writer.append("summaries", make.summaries())
        writer.commit("one", make.now)
    snapshot = store.snapshot()
    assert snapshot.read("summaries").schema == arrow_schema("summaries")
    assert snapshot.read("evidence").schema == arrow_schema("evidence")
    assert snapshot.read("summaries", ["cell", "point_id"]).column_names == ["cell", "point_id"]
    with pytest.raises(KeyError, match="colour"):
        snapshot.read("summaries", ["colour"])
    with pytest.raises(KeyError, match="colour"):
        snapshot.read("summaries", None, [("colour", "=", "red")])


@pytest.mark.parametrize(
    ("filters", "expected"),
    [
        ([("time", ">=", datetime(2026, 3, 1, tzinfo=UTC))], 48),
        ([("time", "<", datetime(2026, 2, 27, 1, tzinfo=UTC))], 2),
        ([("time", "=", datetime(2026, 2, 28, 23, tzinfo=UTC)), ("point_id", "=", "P1")], 1),
        ([("time", "in", [datetime(2026, 2, 28, 23, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)])], 4),
        ([("point_id", "in", ["P1", "P9"])], 72),
        ([("point_id", "in", ["P1", *(f"Q{k}" for k in range(500))])], 72),
        ([("point_id", "not in", ["P1"])], 72),
        ([("point_id", "in", [])], 0),
        ([("point_id", "not in", [])], 144),
        ([("point_id", "!=", "P'1")], 144),
        ([("value", ">", 0.5), ("value", "<=", 1)], 144),
        ([("quality", "=", None)], 0),
        ([("quality", "!=", None)], 144),
        ([], 144),
        (None, 144),
    ],
)  # fmt: skip
def test_filters(store, make, filters, expected):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.commit("one", make.now)
    assert store.snapshot().read("readings", ["value"], filters).num_rows == expected


@pytest.mark.parametrize(
    "filters",
    [
        [("value", "~", 1.0)],
        [("value", "<", None)],
        [("value", "=", float("nan"))],
        [("time", "<", datetime(2026, 1, 1))],  # noqa: DTZ001
        [("point_id", "=", b"P1")],
    ],
)
def test_filters_that_mean_nothing_are_refused(store, make, filters):
    with store.writer():
        pass
    with pytest.raises(ValueError, match="filter"):
        store.snapshot().read("readings", None, filters)


def test_only_the_months_asked_for_are_opened(store, make):
    """The file of the other month is gone: reading past it would fail."""
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.commit("one", make.now)
    (february,) = (store.folder / "readings" / "month=2026-02").iterdir()
    february.unlink()
    march = [("time", ">=", datetime(2026, 3, 1, tzinfo=UTC))]
    assert store.snapshot().read("readings", None, march).num_rows == 48
    with pytest.raises(StoreError, match="missing"):
        store.snapshot().read("readings")


def test_every_file_is_sorted_and_holds_one_month(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.append("decisions", make.decisions())
        writer.commit("one", make.now)
    for table, order, files in (("readings", ["point_id", "time"], 2), ("decisions", ["bearing_id"], 1)):
        uris = DeltaTable(str(store.folder / table)).file_uris()
        assert len(uris) == files
        for uri in uris:
            rows = pq.ParquetFile(uri).read()
            assert rows.select(order).equals(rows.sort_by([(name, "ascending") for name in order]).select(order))


@pytest.mark.parametrize("names", [["a", "b", "c"], ["c", "a", "b"]])
@pytest.mark.parametrize("codes", [[0, 0, 1, 2], [2, 1, 0, 0]])
def test_rows_of_a_dictionary_are_sorted_by_its_values(store, make, names, codes):
    ids = pa.DictionaryArray.from_arrays(pa.array(codes, pa.int32()), pa.array(names))
    times = pa.array([make.now + timedelta(days=20 * k) for k in (0, 1, 0, 0)], pa.timestamp("us", "UTC"))
    rows = pa.table({"point_id": ids, "time": times, "value": [1.0, 2.0, 3.0, 4.0]})
    with store.writer() as writer:
        writer.append("readings", rows)
        writer.commit("one", make.now)
    found = store.snapshot().read("readings", ["point_id", "time", "value"])
    assert found.schema.field("point_id").type == pa.string()
    order = [("point_id", "ascending"), ("time", "ascending")]
    assert found.sort_by(order).equals(rows.cast(found.schema).sort_by(order))
    for uri in DeltaTable(str(store.folder / "readings")).file_uris():
        held = pq.ParquetFile(uri).read()["point_id"].cast(pa.string()).to_pylist()
        assert held == sorted(held)


def test_appending_nothing_writes_nothing(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings().slice(0, 0))
        writer.replace("decisions", make.decisions().slice(0, 0), "run_id")
        writer.commit("one", make.now)
    assert set(store.snapshot().versions.values()) == {0}


def test_a_month_cannot_be_guessed(store, make):
    with store.writer() as writer, pytest.raises(ValueError, match="time must not be null"):
        writer.append("readings", rows_to_table("readings", [{"point_id": "P1"}]))


def test_what_cannot_be_written_stays_out_of_the_next_commit(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings("good"))
        with pytest.raises(KeyError, match="colour"):
            writer.append("decisions", pa.table({"colour": ["red"]}))
        with pytest.raises(StoreError, match="heal"):
            writer.append("decisions", make.decisions())
        with pytest.raises(StoreError, match="heal"):
            writer.commit("one", make.now)
        writer.heal()
        writer.append("decisions", make.decisions())
        writer.commit("two", make.now)
    assert store.snapshot().read("readings").num_rows == 0
    assert store.snapshot().read("decisions").num_rows == 2


def test_replace_takes_the_place_of_earlier_rows_of_the_same_run(store, make):
    with store.writer() as writer:
        writer.append("decisions", make.decisions("r1", call="hold"))
        writer.append("decisions", make.decisions("r2", call="hold"))
        writer.commit("one", make.now)
        before = store.snapshot()
        writer.replace("decisions", make.decisions("r1", call="grease"), "run_id")
        writer.commit("two", make.now)
    expected = pa.concat_tables([make.decisions("r1", call="grease"), make.decisions("r2", call="hold")])
    assert make.same(store.snapshot().read("decisions"), expected)
    assert before.read("decisions", ["call"], [("call", "=", "hold")]).num_rows == 4


def test_text_of_every_kind_survives(store, make):
    raw = "a\x00b'\"; DROP TABLE x; --\n\r\t\\ ünï 😀" + "x" * 100_000
    row = {"ingest_id": "i", "file": "f", "line": 1, "field": raw, "reason": "r", "raw": raw, "known_at": make.now}
    with store.writer() as writer:
        writer.append("rejects", rows_to_table("rejects", [row]))
        writer.commit("one", make.now)
    assert store.snapshot().read("rejects", ["raw", "field"]).to_pylist() == [{"raw": raw, "field": raw}]


def test_no_number_is_changed(store, make):
    values = [float("nan"), float("inf"), -float("inf"), -0.0, 5e-324, 1.7976931348623157e308, None, 0.1]
    times = [datetime(2026, 3, 1, tzinfo=UTC) + timedelta(microseconds=k) for k in range(len(values))]
    rows = [{"point_id": "P", "time": t, "value": v} for t, v in zip(times, values, strict=True)]
    with store.writer() as writer:
        writer.append("readings", rows_to_table("readings", rows))
        writer.commit("one", make.now)
    read = store.snapshot().read("readings", ["time", "value"]).sort_by("time")
    assert [repr(v) for v in read["value"].to_pylist()] == [repr(v) for v in values]
    assert read["time"].to_pylist() == times


def test_years_far_away_have_their_months(store, make):
    rows = [{"point_id": "P", "time": datetime(year, 1, 1, tzinfo=UTC)} for year in (1970, 1969, 2262, 2026)]
    with store.writer() as writer:
        writer.append("readings", rows_to_table("readings", rows))
        writer.commit("one", make.now)
    old = [("time", "<", datetime(1970, 1, 1, tzinfo=UTC))]
    assert store.snapshot().read("readings", None, old).num_rows == 1
    assert store.snapshot().read("readings").num_rows == 4


def test_reading_what_was_never_created_says_so(store):
    for read in (store.snapshot, lambda: store.ledger_rows("runs"), lambda: store.record("x", None, {})):
        with pytest.raises(StoreError, match="there is no store"):
            read()
    assert not store.folder.exists()


def test_a_mistyped_folder_is_not_filled_with_a_new_store(tmp_path):
    with pytest.raises(StoreError, match="no such folder"), Store.open(tmp_path / "no" / "store").writer():
        pass


def test_commits_that_do_not_exist_are_named(store):
    with store.writer():
        pass
    with pytest.raises(StoreError, match="no commit 99"):
        store.snapshot(99)


def test_everything_since_the_last_commit_is_forced_to_disk_before_the_ledger_says_it_is_valid(
    store, make, monkeypatch
):
    """After a heal too: the entry that put the table back lies between the two commits."""
    with store.writer() as writer:
        writer.append("readings", make.readings("lost"))
    forced, plain = set(), os.fsync

    def fsync(handle):
        forced.add(str(Path(f"/proc/self/fd/{handle}").readlink()))
        plain(handle)

    monkeypatch.setattr("os.fsync", fsync)
    with store.writer() as writer:
        writer.append("readings", make.readings("kept"))
        writer.commit("one", make.now)
    table = store.folder / "readings"
    entries = {str(table / "_delta_log" / f"{version:020}.json") for version in (1, 2, 3)}
    files = {str(path) for path in table.glob("month=*/*.parquet")}
    assert forced >= entries | files | {str(table / "_delta_log"), str(table / "month=2026-03")}
    assert len(files) == 4
