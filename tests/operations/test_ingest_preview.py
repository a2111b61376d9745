"""Dry runs and guessed definitions."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from condlube.acquisition.blocks import Unreadable
from condlube.acquisition.definition import parse_source
from condlube.operations.ingest_preview import guess_definition, preview
from condlube.register.model import Register, Site
from condlube.schema.arrow import arrow_schema, rows_to_table

NOW = datetime(2026, 3, 10, 6, tzinfo=UTC)
QUANTITIES = {"P1.TEMP": "temperature", "P1.VEL": "velocity"}
REGISTER = Register(
    rows_to_table("bearings", [{"bearing_id": "B1", "machine_id": "M1"}]),
    arrow_schema("greases").empty_table(),
    rows_to_table("points", [{"point_id": t.lower(), "tag": t, "quantity": q} for t, q in QUANTITIES.items()]),
    "",
    Site("here", ZoneInfo("Europe/Lisbon")),
)
LONG = """
[source]
name = "hist"
files = "*.csv"
reader = "long"
[columns]
time = "time"
tag = "tag"
value = "value"
"""


def looked_at(folder: Path, definition: str):
    sources = (parse_source(definition, "hist.toml"),)
    return preview(SimpleNamespace(folder=folder, sources=sources), REGISTER, NOW)


def test_a_preview_tells_what_would_be_stored_and_what_not(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(
        "time,tag,value\n2026-07-01 00:00,P1.TEMP,41.5\n2026-03-01 00:10,P1.TEMP,41.5\n2026-03-01 00:10,P1.TEMP,41.5\n"
        "2026-03-01 00:20,P1.VEL,oops\n2026-03-01 00:20,X.1,3\n2026-03-01 00:05,P1.VEL,2.5\n",
        encoding="utf-8",
    )
    (found,) = looked_at(tmp_path, LONG)
    assert (found.lines, found.accepted, found.duplicate, found.rejected) == (6, 2, 1, 3)
    assert found.rows == (
        "p1.temp  2026-03-01 00:10:00  41.5 degC  good",
        "p1.vel  2026-03-01 00:05:00  2.5 mm/s rms  good",
    )
    assert found.found == {"p1.temp": 2, "p1.vel": 1}
    assert found.unknown_tags == {"X.1": 1}
    assert found.samples["not_a_number"] == [(5, "value", "2026-03-01 00:20,P1.VEL,oops")]
    text = found.text(ZoneInfo("Europe/Lisbon"))
    assert "6 lines = 2 to store + 1 duplicate + 3 rejected" in text
    assert "from 2026-03-01 00:05 to 2026-03-01 00:10 (Europe/Lisbon), 2 points found" in text
    assert "line 5, value: 2026-03-01 00:20,P1.VEL,oops" in text
    assert "unknown tags, 1 in all: X.1 (1)" in text
    assert list(tmp_path.iterdir()) == [tmp_path / "a.csv"]


def test_a_file_that_cannot_be_read_is_said_to_be_so(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("zeit,tag,value\n", encoding="utf-8")
    (found,) = looked_at(tmp_path, LONG)
    assert "refused: no column named 'time'" in found.text(ZoneInfo("UTC"))


def test_a_log_is_shown_as_events(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("When,What,Where\n2026-03-01 08:00,lube,B1\n2026-03-01 08:00,paint,B1\n", "utf-8")
    log = LONG.split("[columns]", maxsplit=1)[0].replace("long", "events") + (
        '[columns]\ntime = "When"\nkind = "What"\nbearing_id = "Where"\n[kinds]\nlube = "relubrication"\n'
    )
    (found,) = looked_at(tmp_path, log)
    assert found.rows == ("relubrication  B1  2026-03-01 08:00",)
    assert (found.lines, found.rejected, found.by_reason) == (2, 1, {"unknown_kind": 1})


SAMPLES = {
    "long": "time,tag,value,quality\n" + "".join(
        f"2026-03-01T00:{k:02}:00Z,{'P1.TEMP' if k % 2 else 'P1.VEL'},{k / 2 + 1},Good\n" for k in range(20)),
    "long_comma": "Site export\n\nZeit;Kanal;Wert;Status\n" + "".join(
        f"{k + 1:02}.03.2026 07:00;P1.TEMP;{k},5;192\n" for k in range(8)),
    "long_day_first": "time,tag,value\n" + "".join(f"{k + 10}/02/2026 07:00:00,P1.TEMP,{k}.5\n" for k in range(8)),
    "epoch": "t\ttag\tv\n" + "".join(f"{1_772_323_200 + 600 * k}\tP1.TEMP\t{k}.5\n" for k in range(8)),
    "serial_comma": "Zeit;Kanal;Wert\n" + "".join(f"46082,{k}250;P1.TEMP;{k},5\n" for k in range(8)),
    "no_header": "".join(f"2026-03-01T00:{k:02}:00Z,P1.TEMP,{k}.5\n" for k in range(8)),
    "wide": "Time;P1.TEMP;P1.VEL\n" + "".join(f"2026-03-01 0{k}:00;{k},5;{'' if k == 3 else k}\n" for k in range(8)),
    "wide_units": "Time,P1.TEMP [degF],P1.VEL [in/s]\n" + "".join(
        f"2026-03-01 0{k}:00,10{k},0.{k}\n" for k in range(8)),
    "headers": "Time,P1.TEMP,P1.VEL\n,degF,mm/s\n" + "".join(f"2026-03-01 0{k}:00,10{k},2.{k}\n" for k in range(8)),
}  # fmt: skip
EXPECTED_LINES = {"long": 20, "long_comma": 8, "long_day_first": 8, "epoch": 8, "serial_comma": 8, "no_header": 8,
                  "wide": 15, "wide_units": 16, "headers": 16}  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("name", SAMPLES)
def test_a_guessed_definition_reads_its_sample_whole(name: str, encoding: str, tmp_path: Path) -> None:
    (tmp_path / "sample.csv").write_bytes(SAMPLES[name].encode(encoding))
    text = guess_definition(tmp_path / "sample.csv", "hist", "*.csv", REGISTER)
    assert text.startswith("# A GUESS from sample.csv: confirm every line")
    (found,) = looked_at(tmp_path, text)
    assert (found.accepted, found.rejected) == (EXPECTED_LINES[name], 0), text + found.text(ZoneInfo("UTC"))


def test_a_guess_says_what_the_sample_leaves_open(tmp_path: Path) -> None:
    sample = "time,tag,value\n" + "".join(f"0{k + 1}/02/2026 07:00:00,P1.TEMP,{k}.5\n" for k in range(8))
    path = tmp_path / "sample.csv.gz"
    path.write_bytes(gzip.compress(sample.encode()))
    text = guess_definition(path, "hist", "*.csv.gz", None)
    assert "# ? day first or month first? Both %d/%m/%Y %H:%M:%S and %m/%d/%Y %H:%M:%S fit the sample" in text
    assert "# ? the times carry no offset" in text


def test_a_guess_asks_whether_hourly_values_end_their_hour(tmp_path: Path) -> None:
    (tmp_path / "sample.csv").write_bytes(SAMPLES["wide"].encode())
    text = guess_definition(tmp_path / "sample.csv", "hist", "*.csv", REGISTER)
    assert 'one value in 60 min: if it is the mean of an interval that ends at its time, add stamp = "end"' in text
    (tmp_path / "sample.csv").write_bytes(SAMPLES["epoch"].encode())
    assert "stamp" not in guess_definition(tmp_path / "sample.csv", "hist", "*.csv", REGISTER)


def test_a_sample_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    (tmp_path / "cut.csv.gz").write_bytes(gzip.compress(SAMPLES["long"].encode())[:60])
    with pytest.raises(Unreadable, match=r"cut\.csv\.gz: the file cannot be read to its end"):
        guess_definition(tmp_path / "cut.csv.gz", "hist", "*", None)


@pytest.mark.parametrize("sample", [b"", b"\n\n\n", b"one column\n1\n2\n", b"\x00\xff" * 50, b"a,b\n", b"a,b\n,\n,\n"])
def test_a_guess_from_nothing_useful_is_still_a_definition(sample: bytes, tmp_path: Path) -> None:
    (tmp_path / "sample.csv").write_bytes(sample)
    assert "# ? " in guess_definition(tmp_path / "sample.csv", "hist", "*.csv", REGISTER)
