"""The demo site as files: complete, checked by the register, and the same every time."""

from __future__ import annotations

import csv
import hashlib
from datetime import date
from pathlib import Path

import pytest

from condlube.acquisition.definition import parse_source
from condlube.operations.demo import demo_nights, description, lay_site, read_plant, write_history
from condlube.register.events import parse_events
from condlube.register.model import Text
from condlube.schema.nights import nights_between


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "plant"
    lay_site(folder)
    write_history(folder)
    return folder


def digest(folder: Path) -> str:
    total = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        total.update(path.relative_to(folder).as_posix().encode() + path.read_bytes())
    return total.hexdigest()


def test_the_last_fourteen_nights():
    first, last = demo_nights()
    assert last == date(2026, 10, 31)
    assert len(nights_between(first, last)) == 14


def test_the_site_has_all_its_files(site: Path):
    names = {path.relative_to(site).as_posix() for path in site.rglob("*.*")}
    assert {"nightly.toml", "truth.csv", "register/events.csv", "register/bearings.csv", "ingest/route.toml"} <= names
    for source in ("condition", "process", "route"):
        assert sum(name.startswith(f"exports/{source}_2") for name in names) >= 18


def test_events_are_those_of_the_register(site: Path):
    register = read_plant(description()).register
    events = parse_events(Text("events.csv", (site / "register/events.csv").read_text("utf-8")), register)
    assert events.num_rows > 400
    assert {"relubrication", "inspection", "failure", "replacement"} <= set(events["kind"].to_pylist())


def test_every_export_belongs_to_one_source(site: Path):
    taken: list[str] = []
    for path in sorted((site / "ingest").glob("*.toml")):
        source = parse_source(path.read_text("utf-8"), path.name)
        assert source.history
        taken += [found.name for found in site.glob(source.files)]
    assert sorted(taken) == sorted(path.name for path in (site / "exports").iterdir())


def test_the_dirt_is_there(site: Path):
    exports = site / "exports"
    condition = (exports / "condition_2025-11.csv").read_text("utf-8").splitlines()
    assert len(condition) > len(set(condition))
    assert any(line.endswith(",Bad") for line in condition)
    assert any("I/O Timeout" in line for line in condition)
    assert (exports / "condition_2026-04.csv").read_text("utf-8").splitlines()[5].endswith(",192")
    assert not (exports / "condition_2026-06.csv").read_bytes().endswith(b"\n")
    copy, original = exports / "condition_2026-02_copy.csv", exports / "condition_2026-02.csv"
    assert copy.read_bytes() == original.read_bytes()
    everything = "".join(path.read_text("utf-8") for path in exports.glob("condition_*.csv"))
    assert everything.count(",SPARE.7.US,") > 10
    assert everything.count(",UG-2.HEARTBEAT,") > 100


def test_the_wide_layout_keeps_local_time(site: Path):
    with (site / "exports/process_2026-10.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file, delimiter=";"))
    times = [row[0] for row in rows[1:]]
    assert times.count("25.10.2026 02:00") == 2
    assert all(len(row) == len(rows[0]) for row in rows)
    assert any("," in cell for cell in rows[1])
    headers = [path.read_text("utf-8").split("\n", 1)[0] for path in (site / "exports").glob("process_*.csv")]
    assert 0 < sum("LI-9104.PV" in header for header in headers) < len(headers)


def test_written_twice_is_the_same(site: Path):
    before = digest(site)
    lay_site(site)
    write_history(site)
    assert digest(site) == before
