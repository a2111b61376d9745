"""Ingest into a real store: conservation, idempotence, overlaps, corrections, files in the making."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pyarrow as pa
import pytest

from condlube.acquisition.blocks import Export
from condlube.acquisition.definition import parse_source
from condlube.acquisition.stage import Stage
from condlube.errors import ConfigurationError, StoreError
from condlube.operations import ingest_batch
from condlube.operations.ingest import ingest
from condlube.operations.ingest_report import FileReport
from condlube.register.model import Register, Site
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.store import views
from condlube.store.store import Store
from condlube.store.writer import Writer

NOW = datetime(2026, 3, 10, 6, tzinfo=UTC)
SOURCE = """
[source]
name = "hist"
files = "exports/hist_*.csv"
reader = "long"
{history}
[format]
zone = "UTC"
[columns]
time = "time"
tag = "tag"
value = "value"
quality = "quality"
"""


class Plant:
    """A site in a folder with one source and two points."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "exports").mkdir()
        self.store = Store.open(folder / "store")
        self.source_text = SOURCE.format(history="")
        self.tags = {"T1": "t1", "T2": "t2"}

    def write(self, name: str, *lines: str, header: str = "time,tag,value,quality") -> Path:
        path = self.folder / "exports" / name
        path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
        os.utime(path, (1_700_000_000, 1_700_000_000 + len(list(path.parent.iterdir()))))
        return path

    def ingest(self, now: datetime = NOW):
        points = [{"point_id": p, "tag": t, "quantity": "temperature", "unit": "degC"} for t, p in self.tags.items()]
        empty = (arrow_schema(name).empty_table() for name in ("bearings", "greases"))
        site = Site("here", ZoneInfo("Europe/Lisbon"))
        register = Register(*empty, rows_to_table("points", points), "", site)
        definition = SimpleNamespace(folder=self.folder, sources=(parse_source(self.source_text, "hist.toml"),))
        with self.store.writer() as writer:
            return ingest(definition, register, writer, now)

    def readings(self, now: datetime = NOW) -> list[tuple]:
        table = views.readings(self.store.snapshot(), now + timedelta(days=9), now + timedelta(days=9))
        return sorted((r["point_id"], f"{r['time']:%d %H:%M}", r["value"], r["quality"]) for r in table.to_pylist())

    def rows(self, table: str) -> pa.Table:
        return self.store.snapshot().read(table)


@pytest.fixture
def plant(tmp_path: Path) -> Plant:
    return Plant(tmp_path)


def counts(report) -> tuple[int, int, int, int]:
    return report.lines, report.stored, report.duplicate, report.rejected


def test_lines_are_stored_with_their_account_in_the_ledger(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20.5,Good", "2026-03-01T00:10:00Z,T1,x,Good",
                "2026-03-01T00:00:00Z,T9,1,Good", "2026-03-01T00:00:00Z,T1,20.5,Good")  # fmt: skip
    report = plant.ingest()
    assert counts(report) == (4, 1, 1, 2)
    assert report.by_reason == {"not_a_number": 1, "unknown_tag": 1}
    assert report.unknown_tags == {"T9": 1}
    assert "each with file, line and raw text: page Data" in report.text()
    assert plant.readings() == [("t1", "01 00:00", 20.5, "good")]
    (row,) = plant.store.ledger_rows("ingests")
    assert (row["lines"], row["stored"], row["duplicate"], row["rejected"]) == (4, 1, 1, 2)
    assert (row["file"], row["known_at"]) == ("exports/hist_1.csv", NOW)
    assert row["first"] == row["last"] == datetime(2026, 3, 1, tzinfo=UTC)
    assert json.loads(row["counts"])["reasons"] == {"not_a_number": 1, "unknown_tag": 1}
    rejects = {r["line"]: r for r in plant.rows("rejects").to_pylist()}
    assert rejects[3]["reason"] == "not_a_number"
    assert rejects[3]["raw"] == "2026-03-01T00:10:00Z,T1,x,Good"
    assert rejects[3]["field"] == "value"
    assert {r["ingest_id"] for r in rejects.values()} == {row["ingest_id"]}


def test_the_same_file_again_changes_nothing(plant: Plant) -> None:
    path = plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20.5,Good", "2026-03-01T00:10:00Z,T1,x,Good")
    plant.ingest()
    commit = plant.store.snapshot().commit_id
    again = plant.ingest()
    assert "page Data" not in again.text()
    path.touch()  # a new time, the same content
    os.utime(path, (1_700_000_500, 1_700_000_500))
    touched = plant.ingest()
    path.rename(path.with_name("hist_copy.csv"))
    renamed = plant.ingest()
    assert [f.outcome for r in (again, touched, renamed) for f in r.files] == ["known"] * 3
    assert plant.store.snapshot().commit_id == commit


PER_TAG = """
[source]
name = "one"
files = "exports/*.csv"
reader = "per_tag"
[format]
zone = "UTC"
[columns]
time = "time"
value = "value"
[tag]
pattern = "^(?P<tag>T.)"
"""


def test_two_tags_whose_files_say_the_same_are_two_tags(plant: Plant) -> None:
    plant.source_text = PER_TAG
    for tag in ("T1", "T2"):
        plant.write(f"{tag}.csv", "2026-03-01T00:00:00Z,0", header="time,value")
    assert [counts(f) for f in plant.ingest().files] == [(1, 1, 0, 0), (1, 1, 0, 0)]
    assert plant.readings() == [("t1", "01 00:00", 0.0, "good"), ("t2", "01 00:00", 0.0, "good")]
    assert [f.outcome for f in plant.ingest().files] == ["known", "known"]


def test_overlapping_exports_give_duplicates(plant: Plant) -> None:
    first = [f"2026-03-01T{h:02}:00:00Z,T1,{h},Good" for h in range(12)]
    second = [f"2026-03-01T{h:02}:00:00Z,T1,{h},Good" for h in range(8, 20)]
    plant.write("hist_1.csv", *first)
    plant.write("hist_2.csv", *second)
    report = plant.ingest()
    assert [counts(f) for f in report.files] == [(12, 12, 0, 0), (12, 8, 4, 0)]
    assert len(plant.readings()) == 20


def test_of_two_values_the_newest_ingest_wins_and_the_older_stays(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good", "2026-03-01T00:10:00Z,T1,21,Good")
    plant.ingest()
    plant.write("hist_2.csv", "2026-03-01T00:00:00Z,T1,25,Good", "2026-03-01T00:10:00Z,T1,21,Bad")
    assert counts(plant.ingest(NOW + timedelta(hours=1))) == (2, 2, 0, 0)
    assert plant.readings() == [("t1", "01 00:00", 25.0, "good"), ("t1", "01 00:10", 21.0, "bad")]
    assert sorted(plant.rows("readings")["value"].to_pylist()) == [20, 21, 21, 25]
    plant.write("hist_3.csv", "2026-03-01T00:00:00Z,T1,20,Good")  # the first value once more is a new correction
    assert counts(plant.ingest(NOW + timedelta(hours=2))) == (1, 1, 0, 0)
    assert plant.readings()[0] == ("t1", "01 00:00", 20.0, "good")


def test_a_grown_file_brings_only_its_new_lines(plant: Plant) -> None:
    lines = [f"2026-03-01T{h:02}:00:00Z,T1,{h},Good" for h in range(6)]
    plant.write("hist_1.csv", *lines[:4])
    plant.ingest()
    plant.write("hist_1.csv", *lines)
    assert counts(plant.ingest()) == (6, 2, 4, 0)


def test_late_data_of_a_single_day_do_not_touch_other_days(plant: Plant) -> None:
    plant.write("hist_1.csv", *[f"2026-0{m}-05T00:00:00Z,T1,{m},Good" for m in (1, 2, 3)])
    plant.ingest()
    plant.write("hist_2.csv", "2026-02-05T00:00:00Z,T1,2,Good", "2026-02-05T00:10:00Z,T1,2.5,Good")
    assert counts(plant.ingest()) == (2, 1, 1, 0)


def test_a_span_that_overlaps_without_a_reading_in_common(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,1,Good", "2026-03-09T00:00:00Z,T1,2,Good")
    plant.ingest()
    plant.write("hist_2.csv", "2026-03-05T00:00:00Z,T2,1,Good")
    assert counts(plant.ingest()) == (1, 1, 0, 0)


def test_history_is_known_when_it_was_observed(plant: Plant) -> None:
    plant.source_text = SOURCE.format(history="history = true\ndelay_h = 4")
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good")
    plant.ingest()
    assert plant.rows("readings")["known_at"].to_pylist() == [datetime(2026, 3, 1, 4, tzinfo=UTC)]
    assert plant.store.ledger_rows("ingests")[0]["known_at"] == datetime(2026, 3, 1, 4, tzinfo=UTC)


def test_history_without_readings_does_not_advance_what_is_known(plant: Plant) -> None:
    plant.source_text = SOURCE.format(history="history = true")
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,x,Good")
    assert counts(plant.ingest()) == (1, 0, 0, 1)
    assert plant.store.ledger_rows("ingests")[0]["known_at"] is None
    assert views.newest_known(plant.store.snapshot()) is None


def test_live_data_are_known_from_now(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good")
    plant.ingest()
    assert plant.rows("readings")["known_at"].to_pylist() == [NOW]


def test_a_file_that_was_just_written_waits(plant: Plant) -> None:
    path = plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good")
    seconds = NOW.timestamp() - 2
    os.utime(path, (seconds, seconds))
    report = plant.ingest()
    assert [f.outcome for f in report.files] == ["waiting"]
    assert "written to 2 s ago" in report.text()
    assert plant.ingest(NOW + timedelta(minutes=1)).stored == 1


def test_a_file_that_changes_while_it_is_read_waits(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    path = plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good")
    plain = ingest_batch.read

    def read_while_it_grows(*arguments, **named):
        account = plain(*arguments, **named)
        with path.open("a", encoding="utf-8") as file:
            file.write("2026-03-01T00:10:00Z,T1,21,Good\n")
        return account

    monkeypatch.setattr(ingest_batch, "read", read_while_it_grows)
    assert [f.outcome for f in plant.ingest().files] == ["waiting"]
    assert plant.store.ledger_rows("ingests") == []
    monkeypatch.undo()
    assert plant.ingest().stored == 2


def many(plant: Plant) -> None:
    """Two files with everything: duplicates, conflicts, rejects, an overlap and a correction."""
    lines = [f"2026-03-0{d}T{h:02}:00:00Z,T{t},{d * h + t},Good" for d in (1, 2) for h in range(24) for t in (1, 2, 3)]
    plant.write("hist_1.csv", *lines, *lines[:9], "2026-03-01T05:00:00Z,T1,99,Good", "x,T1,1,Good")
    plant.write("hist_2.csv", *lines[90:], "2026-03-02T23:00:00Z,T2,77,Good", "2026-03-03T00:00:00Z,T2,1,Good,")


def content(plant: Plant) -> tuple[list, list, list]:
    """All that an ingest leaves behind, in an order of its own."""
    rows = [sorted(plant.rows(table).to_pylist(), key=repr) for table in ("readings", "rejects")]
    return *rows, [{**row, "committed_at": None} for row in plant.store.ledger_rows("ingests")]


def test_spilling_and_small_parts_change_nothing(plant: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    many(plant)
    report = plant.ingest()
    assert report.lines == report.stored + report.duplicate + report.rejected
    (tmp_path / "other").mkdir()
    other = Plant(tmp_path / "other")
    many(other)
    monkeypatch.setattr(ingest_batch, "Stage", partial(Stage, in_memory=10, part=7))
    assert counts(other.ingest()) == counts(report)
    assert content(other) == content(plant)


@pytest.mark.parametrize("call", range(1, 6))
@pytest.mark.parametrize("kind", [StoreError, OSError, KeyboardInterrupt])
def test_whatever_stops_an_ingest_the_next_one_heals(
    call: int, kind: type[BaseException], plant: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    many(plant)
    plant.ingest()
    (tmp_path / "other").mkdir()
    other = Plant(tmp_path / "other")
    many(other)
    plain, calls = Writer.append, iter(range(1, 1000))

    def append(self: Writer, table: str, data: pa.Table) -> None:
        if next(calls) == call:
            raise kind("No space left on device")
        plain(self, table, data)

    monkeypatch.setattr(Writer, "append", append)
    monkeypatch.setattr(ingest_batch, "Stage", partial(Stage, part=40))
    monkeypatch.setattr(ingest_batch, "ALONE", 100 if call < 4 else 30)
    with pytest.raises(KeyboardInterrupt if kind is KeyboardInterrupt else StoreError, match="No space left"):
        other.ingest()
    monkeypatch.undo()
    other.ingest()
    assert content(other) == content(plant)


def test_an_unreadable_file_does_not_stop_the_others(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good", header="zeit,tag,value,quality")
    plant.write("hist_2.csv", "2026-03-01T00:00:00Z,T1,20,Good")
    report = plant.ingest()
    assert [f.outcome for f in report.files] == ["refused", "taken"]
    assert "no column named 'time' to hold the time; the header reads: zeit" in report.text()
    assert [f.outcome for f in plant.ingest().files] == ["refused", "known"]


def test_a_file_without_permission_is_refused(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    path = plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good")

    def refuse(self: Export) -> str:
        raise PermissionError(13, "Permission denied", str(self.path))

    monkeypatch.setattr(Export, "digest", refuse)
    report = plant.ingest()
    assert [f.outcome for f in report.files] == ["refused"]
    assert f"Permission denied: '{path}'" in report.text()


def test_rejected_lines_are_read_again_once_the_tag_is_known(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Good", "2026-03-01T00:00:00Z,T3,30,Good")
    assert counts(plant.ingest()) == (2, 1, 0, 1)
    plant.tags["T3"] = "t3"
    assert counts(plant.ingest()) == (2, 1, 1, 0)
    assert ("t3", "01 00:00", 30.0, "good") in plant.readings()
    assert [f.outcome for f in plant.ingest().files] == ["known"]
    assert len({row["ingest_id"] for row in plant.store.ledger_rows("ingests")}) == 2


def test_rejected_lines_are_read_again_once_the_definition_is_mended(plant: Plant) -> None:
    plant.write("hist_1.csv", "2026-03-01T00:00:00Z,T1,20,Fine")
    assert counts(plant.ingest()) == (1, 0, 0, 1)
    assert [f.outcome for f in plant.ingest().files] == ["known"]
    plant.source_text += '[quality]\ngood = ["Fine"]\n'
    assert counts(plant.ingest()) == (1, 1, 0, 0)
    plant.source_text += "# a remark\n"
    assert [f.outcome for f in plant.ingest().files] == ["known"]  # nothing was rejected: nothing to gain


def test_sources_that_do_not_fit_the_register_are_told_at_once(plant: Plant) -> None:
    plant.source_text += '[tags]\n"X" = "nowhere"\n[units]\n"T1" = "mm/s"\n"T7" = "degC"\n[ranges]\n"T8" = [0, 1]\n'
    with pytest.raises(ConfigurationError) as caught:
        plant.ingest()
    assert {f.column for f in caught.value.faults} == {"tags.X", "units.T1", "units.T7", "ranges.T8"}
    assert all(f.line > 0 for f in caught.value.faults)


def test_remarks_of_a_route_are_kept_once(plant: Plant) -> None:
    plant.source_text = """
    [source]
    name = "route"
    files = "exports/route_*.csv"
    reader = "route"
    [format]
    zone = "UTC"
    [columns]
    time = "time"
    tag = "tag"
    value = "value"
    person = "by"
    remark = "note"
    """
    lines = ["2026-03-01T07:00:00Z,T1,40,Ana,", "2026-03-01T07:05:00Z,T2,41,Ana,seal weeps"]
    plant.write("route_1.csv", *lines, header="time,tag,value,by,note")
    plant.write("route_2.csv", *lines, "2026-03-02T07:05:00Z,T2,41,Rui,wiped", header="time,tag,value,by,note")
    plant.ingest()
    said = [(r["point_id"], r["who"], r["note"], r["time"].day) for r in plant.store.ledger_rows("remarks")]
    assert said == [("t2", "Ana", "seal weeps", 1), ("t2", "Rui", "wiped", 2)]


def test_an_account_that_does_not_add_up_cannot_be_made() -> None:
    with pytest.raises(AssertionError, match="3 lines are not 1 stored"):
        FileReport("s", "f", "taken", lines=3, stored=1, duplicate=1)
