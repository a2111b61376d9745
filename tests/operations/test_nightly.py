"""The nightly batch on a small site, through the real chain."""

import csv
import json
import os
import random
import signal
import subprocess
import sys
import time
from datetime import date, timedelta

import numpy as np
import pytest
from small_site import NIGHTS, NOW, write_small_site

from condlube.errors import Busy
from condlube.operations.definition import load
from condlube.operations.nightly import nightly
from condlube.schema.tables import TABLES
from condlube.schema.words import ACTIONS, STATES
from condlube.store.rows import rows
from condlube.store.store import Store

DELTA = [name for name, table in TABLES.items() if table.home == "delta"]


def tables(folder):
    """Every stored row of the site but its clock columns, in a comparable order."""
    definition = load(folder)
    snapshot = Store.open(definition.store, definition.ledger).snapshot()
    found = {name: rows(snapshot.read(name)) for name in DELTA}
    found |= {name: snapshot.ledger_rows(name) for name in ("ingests", "runs", "events")}
    return {
        name: sorted(repr({c.name: row[c.name] for c in TABLES[name] if not c.clock}) for row in table)
        for name, table in found.items()
    }


def test_every_bearing_is_decided_every_night(small_site):
    _, result = small_site
    assert [morning.run.night for morning in result.mornings] == NIGHTS
    for morning in result.mornings:
        assert len(morning.decisions) == 5
        assert morning.failed == []
        assert all(row["call"] in ACTIONS for row in morning.decisions.values())


def test_the_dry_bearing_is_greased_and_the_sealed_one_never(small_site):
    _, result = small_site
    last = result.mornings[-1].decisions
    assert last["M1-DE"]["call"] == "grease"
    assert last["M1-DE"]["strokes"] > 0
    assert all(m.decisions["M3-DE"]["call"] != "grease" for m in result.mornings)


def test_prior_plus_evidence_is_the_posterior(small_site):
    _, result = small_site
    for morning in result.mornings:
        for name, row in morning.decisions.items():
            for state in STATES[1:]:
                bits = sum(r[f"bits_{state}"] for r in morning.evidence[name])
                assert bits == pytest.approx(np.log2(row[f"p_{state}"] / row["p_adequate"]), abs=1e-9)


def test_every_line_is_accounted_for(small_site):
    folder, result = small_site
    lines = len((folder / "exports" / "all.csv").read_text().splitlines()) - 1
    ingested = result.ingested
    assert ingested.lines == lines == ingested.stored + ingested.duplicate + ingested.rejected
    assert ingested.duplicate == 1
    assert ingested.unknown_tags == {"UNKNOWN.TAG": 1}
    said = json.loads((result.mornings[-1].folder / "summary.json").read_text())
    assert said["ingest"]["lines"] == lines
    assert said["calls"]["grease"] + said["calls"]["hold"] + said["calls"]["inspect"] == 5


def test_the_files_of_the_night(small_site):
    _, result = small_site
    folder = result.mornings[-1].folder
    with (folder / "decisions.csv").open(newline="", encoding="utf-8") as file:
        decisions = list(csv.DictReader(file))
    wanted = ["night", "bearing_id", "call", "basis", "reason", "due_date", "x", "interval_h",
              *(f"p_{s}" for s in STATES), *(f"cost_{a}" for a in ACTIONS),
              "condition_status", "grease_id", "grease_g", "strokes"]  # fmt: skip
    assert list(decisions[0])[: len(wanted)] == wanted
    assert [row["bearing_id"] for row in decisions] == sorted(row["bearing_id"] for row in decisions)
    with (folder / "worklist.csv").open(newline="", encoding="utf-8") as file:
        work = list(csv.DictReader(file))
    greased = {row["bearing_id"] for row in decisions if row["call"] == "grease"}
    assert greased <= {row["bearing_id"] for row in work}
    assert all(row["cautions"] for row in work)


def test_what_changed_is_told_from_the_second_night_on(small_site):
    _, result = small_site
    assert result.mornings[0].changed is None
    for before, after in zip(result.mornings, result.mornings[1:], strict=False):
        differing = {n for n in after.decisions if after.decisions[n]["call"] != before.decisions[n]["call"]}
        assert {change.bearing_id for change in after.changed} == differing


@pytest.mark.parametrize("width", [80, 120])
def test_the_briefing_keeps_to_the_width(small_site, width):
    _, result = small_site
    text = result.text(width)
    assert max(len(line) for line in text.splitlines() if "Files:" not in line) <= width
    assert "5 bearings" in text


def test_the_same_night_again_is_no_new_run(fresh_site):
    first = nightly(fresh_site, NOW, NIGHTS[-1:])
    before = tables(fresh_site)
    again = nightly(fresh_site, NOW + timedelta(hours=1), NIGHTS[-1:])
    assert first.mornings[0].run.new
    assert not again.mornings[0].run.new
    assert tables(fresh_site) == before
    forced = nightly(fresh_site, NOW + timedelta(hours=2), NIGHTS[-1:], force=True)
    assert forced.mornings[0].run.new
    assert tables(fresh_site) == before


def test_a_second_run_at_the_same_time_is_refused(fresh_site):
    definition = load(fresh_site)
    with Store.open(definition.store, definition.ledger).writer(), pytest.raises(Busy):
        nightly(fresh_site, NOW, NIGHTS)


@pytest.mark.parametrize(("workers", "batch"), [(1, 1), (1, 2), (2, 1)])
def test_batches_and_processes_change_nothing(small_site, tmp_path, workers, batch):
    folder, _ = small_site
    other = write_small_site(tmp_path, workers, batch)
    nightly(other, NOW, NIGHTS)
    assert tables(other) == tables(folder)


KILLED = """
import sys, datetime
from pathlib import Path
from condlube.operations.nightly import nightly
nightly(Path(sys.argv[1]), datetime.datetime(2026, 6, 6, 6, 30, tzinfo=datetime.UTC),
        [datetime.date(2026, 6, 2), datetime.date(2026, 6, 3), datetime.date(2026, 6, 4)])
"""


def killed_and_run_again(small_site, tmp_path, kills, seed):
    folder, _ = small_site
    other = write_small_site(tmp_path)
    chance = random.Random(seed)
    started = time.monotonic()
    subprocess.run([sys.executable, "-c", KILLED, str(write_small_site(tmp_path / "timed"))], check=True)
    whole = time.monotonic() - started
    survived = 0
    for _ in range(kills):
        process = subprocess.Popen([sys.executable, "-c", KILLED, str(other)])
        time.sleep(chance.uniform(0.2, 1.0) * whole)
        survived += process.poll() is not None
        os.kill(process.pid, signal.SIGKILL) if process.poll() is None else None
        process.wait()
    nightly(other, NOW, NIGHTS)
    assert tables(other) == tables(folder)
    assert survived < kills


def test_killed_and_run_again_gives_the_same_tables(small_site, tmp_path):
    killed_and_run_again(small_site, tmp_path, kills=3, seed=1)


@pytest.mark.long
def test_killed_ten_times(small_site, tmp_path):
    killed_and_run_again(small_site, tmp_path, kills=10, seed=2)


def test_one_bearing_that_fails_does_not_lose_the_night(fresh_site, monkeypatch):
    from condlube.operations import decide as module

    real = module.decide

    def decide(batch, *rest):
        if (batch.bearings["bearing_id"] == "M2-DE").any():
            raise ZeroDivisionError("made to fail")
        return real(batch, *rest)

    monkeypatch.setattr(module, "decide", decide)
    morning = nightly(fresh_site, NOW, NIGHTS[-1:]).mornings[0]
    assert morning.failed == ["M2-DE"]
    assert morning.decisions["M2-DE"]["failed"] == "ZeroDivisionError: made to fail"
    assert sum(row["call"] in ACTIONS for row in morning.decisions.values()) == 4


@pytest.mark.parametrize(("designation", "speed_rpm"), [("6320", 1480), ("22222", 990), ("NU 316", 2950)])
def test_with_no_condition_data_the_call_turns_at_x_of_one(tmp_path, designation, speed_rpm):
    """Design: the handbook programme is the special case of knowing nothing else."""
    site = write_small_site(tmp_path, days=1)
    (site / "bearings.csv").write_text(
        f"bearing_id,machine_id,designation,speed_rpm,commissioned\nB,M,{designation},{speed_rpm},2026-01-01\n"
    )
    (site / "points.csv").write_text("point_id,bearing_id,tag,quantity,unit\n")
    (site / "events.csv").write_text("time,kind,bearing_id,grease_g\n2026-01-02T09:00,relubrication,B,500\n")
    start = date(2026, 1, 20)
    first = nightly(site, NOW, [start]).mornings[0].decisions["B"]
    days = round((1 - first["x"]) * first["interval_h"] / 24)
    nights = [start + timedelta(days=days + k) for k in range(-2, 4)]
    found = [m.decisions["B"] for m in nightly(site, NOW, nights).mornings]
    holds = [row["x"] for row in found if row["call"] == "hold"]
    greases = [row["x"] for row in found if row["call"] == "grease"]
    assert holds
    assert greases
    assert max(holds) < 1.0 <= min(greases)
