from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from condlube.errors import ConfigurationError
from condlube.operations.definition import load
from condlube.operations.shipped import shipped
from condlube.register.model import Site

LEAST = '[site]\nname = "Mill"\nzone = "Europe/Lisbon"\n\n[files]\nbearings = "bearings.csv"\n'


@pytest.fixture
def site(tmp_path: Path) -> Path:
    (tmp_path / "bearings.csv").write_text("bearing_id,designation,speed_rpm\nA,6310,1480\n")
    (tmp_path / "nightly.toml").write_text(LEAST)
    return tmp_path


def rewrite(site: Path, text: str) -> Path:
    (site / "nightly.toml").write_text(text)
    return site


def test_the_least_that_a_definition_needs(site: Path) -> None:
    made = load(site)
    assert made.site == Site("Mill", ZoneInfo("Europe/Lisbon"), None)
    assert (made.greases, made.points, made.events, made.policy, made.sources) == (None, None, None, None, ())
    assert (made.run_hour, made.horizon_days, made.workers, made.batch) == (6, 7, 1, 300)
    assert (made.events_history, made.events_delay_h, made.ledger) == (False, 6.0, "")
    assert (made.store, made.output) == (site.resolve() / "store", site.resolve() / "out")
    assert made.policy_text().file == "default.toml"
    assert made.read(made.bearings).file == "bearings.csv"


def test_a_folder_or_its_file_are_the_same_site(site: Path) -> None:
    assert load(site) == load(site / "nightly.toml")


def test_the_shipped_definition(tmp_path: Path) -> None:
    made = load(shipped("pipelines"))
    assert made.site.assumed_last_greasing == date(2025, 1, 15)
    assert [source.name for source in made.sources] == ["historian_long", "historian_wide"]
    assert made.policy_text().file == "policies/example.toml"
    assert made.points is not None
    assert made.shown(made.points) == "register/points.csv"


@pytest.mark.parametrize(
    "more",
    [
        "\n[night]\nworkers = 2\nbatch = 7\n",
        '\n[store]\nfolder = "elsewhere"\n[output]\nfolder = "results"\n',
        "\n# a remark\n[night]\nrun_hour = 6\n",
    ],
)
def test_what_cannot_change_a_decision_does_not_change_the_digest(site: Path, more: str) -> None:
    assert load(rewrite(site, LEAST + more)).digest == load(rewrite(site, LEAST)).digest


@pytest.mark.parametrize(
    "text",
    [
        LEAST + "\n[night]\nrun_hour = 5\n",
        LEAST + "\n[night]\nhorizon_days = 14\n",
        LEAST + "\n[events]\nhistory = true\n",
        LEAST.replace("Europe/Lisbon", "Europe/Madrid"),
        LEAST.replace("[files]", "assumed_last_greasing = 2024-01-01\n[files]"),
    ],
)
def test_what_can_change_a_decision_changes_the_digest(site: Path, text: str) -> None:
    assert load(rewrite(site, text)).digest != load(rewrite(site, LEAST)).digest


def test_a_source_changes_the_digest(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(shipped("pipelines"), site)
    before = load(site).digest
    source = site / "ingest" / "historian_long.toml"
    source.write_text(source.read_text().replace('zone = "UTC"', 'zone = "site"'))
    assert load(site).digest != before


def test_a_definition_saved_by_an_editor_with_a_byte_order_mark(site: Path) -> None:
    (site / "nightly.toml").write_bytes(b"\xef\xbb\xbf" + LEAST.replace("\n", "\r\n").encode())
    assert load(site).site.name == "Mill"


@pytest.mark.parametrize(
    ("text", "column", "line"),
    [
        (LEAST.replace("Europe/Lisbon", "Lisbon"), "site.zone", 3),
        (LEAST.replace("Europe/Lisbon", "Europe"), "site.zone", 3),
        (LEAST.replace('zone = "Europe/Lisbon"', ""), "site.zone", 1),
        (LEAST.replace("bearings.csv", "none.csv"), "files.bearings", 6),
        (LEAST.replace('"bearings.csv"', "7"), "files.bearings", 6),
        (LEAST + "\n[night]\nrun_hour = true\n", "night.run_hour", 9),
        (LEAST + "\n[night]\nhorizon_days = 0\n", "night.horizon_days", 9),
        (LEAST + '\n[store]\nledger = "store.db"\n', "store.ledger", 9),
        (LEAST + "\n[events]\ndelay_h = -1\n", "events.delay_h", 9),
        ("site = 3\n" + LEAST.replace("[site]", "[site2]"), "site", 1),
    ],
)
def test_faults_name_key_and_line(site: Path, text: str, column: str, line: int) -> None:
    with pytest.raises(ConfigurationError) as caught:
        load(rewrite(site, text))
    assert (column, line) in [(f.column, f.line) for f in caught.value.faults]


def test_no_definition(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "site.toml"):
        with pytest.raises(ConfigurationError, match="no such file"):
            load(path)


def test_two_sources_of_one_name(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(shipped("pipelines"), site)
    wide = site / "ingest" / "historian_wide.toml"
    wide.write_text(wide.read_text().replace('name = "historian_wide"', 'name = "historian_long"'))
    with pytest.raises(ConfigurationError) as caught:
        load(site)
    assert [(f.file, f.column, f.seen) for f in caught.value.faults] == [
        ("ingest/historian_wide.toml", "source.name", "historian_long")
    ]
