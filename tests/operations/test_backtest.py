"""Backtest and tuning of a site on disk: files, caches, and the nights as they had been decided."""

from __future__ import annotations

import csv
import json
import shutil
import signal
import subprocess
import sys
from datetime import UTC, date, datetime

import pyarrow.parquet as pq
import pytest
from pandas.testing import assert_frame_equal
from small_site import write_small_site

from condlube.backtest.replay import BESIDE, Span
from condlube.chain import Plant
from condlube.errors import CondlubeError, InvalidArgument
from condlube.operations.backtest import backtest
from condlube.operations.check import check
from condlube.operations.definition import default_policy
from condlube.operations.morning import DECISION_COLUMNS
from condlube.operations.nightly import nightly
from condlube.operations.replay import replay
from condlube.operations.tune import tune
from condlube.policy.parse import parse_policy
from condlube.store.store import Store

NIGHTS = [date(2026, 6, 11), date(2026, 6, 30), date(2026, 7, 1)]
SPAN = (date(2026, 5, 30), date(2026, 7, 1))
EVERY = 4
NOW = datetime(2026, 7, 10, 6, 30, tzinfo=UTC)
EVENTS = """2026-06-20T10:00,inspection,M2-DE,,A. Okafor
2026-06-25T10:00,relubrication,M2-DE,41,A. Okafor
"""
FILES = {"references": "references", "nights": "decisions"}
KILLED = """
import os, signal, sys
from datetime import date
from pathlib import Path
import condlube.backtest.replay
from condlube.operations.backtest import backtest

def on_step(step, done, of):
    if (step, done) == (sys.argv[2], int(sys.argv[3])):
        os.kill(os.getpid(), signal.SIGKILL)

condlube.backtest.replay.ROWS_AT_ONCE = int(sys.argv[7])
first, last = (date.fromisoformat(text) for text in sys.argv[4:6])
backtest(Path(sys.argv[1]), first, last, every=int(sys.argv[6]), on_step=on_step)
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The small site over ten weeks, three of its nights decided, with work recorded between them."""
    site = write_small_site(tmp_path_factory.mktemp("site"), days=70)
    with (site / "events.csv").open("a") as file:
        file.write(EVENTS)
    nightly(site, NOW, NIGHTS)
    return site


@pytest.fixture(scope="module")
def fortnight(site):
    """Rows that are worked on at once, such that five weeks are three stretches of nights: of 4, 3 and 2."""
    return 14 * check(site).register.points.num_rows


@pytest.fixture(scope="module")
def made(site, fortnight):
    """Five weeks in three stretches."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("condlube.backtest.replay.ROWS_AT_ONCE", fortnight)
        yield backtest(site, *SPAN, every=EVERY)


def decided(snapshot):
    """The decisions that the nightly runs left in the store."""
    return snapshot.read("decisions").to_pandas().sort_values(["night", "bearing_id"], ignore_index=True)


def test_given_what_a_run_knew_a_replay_decides_what_the_run_decided(site):
    """To the last digit, every column: the runs are those that ``condlube nightly`` committed."""
    checked = check(site)
    snapshot = Store.open(checked.definition.store, checked.definition.ledger).snapshot()
    runs = {run["night"]: run for run in snapshot.ledger_rows("runs")}
    assert list(runs) == NIGHTS
    span = Span(tuple(runs), {night: run["known_by"] for night, run in runs.items()})
    kept = replay(checked, Plant.of(checked.register), span, checked.policy, snapshot)
    ours = (
        pq.ParquetDataset(list(kept.decisions))
        .read()
        .to_pandas()
        .sort_values(["night", "bearing_id"], ignore_index=True)
    )
    theirs = decided(snapshot)
    assert set(theirs["call"]) >= {"hold", "grease"}
    assert_frame_equal(ours.drop(columns=["run_id", *BESIDE]), theirs.drop(columns="run_id"), check_exact=True)


def test_the_files_say_what_a_replay_cannot_know(made):
    assert {path.name for path in made.folder.iterdir()} == {
        "decisions.csv", "outcomes.csv", "summary.json", "report.html",
    }  # fmt: skip
    said = json.loads((made.folder / "summary.json").read_text(encoding="utf-8"))
    assert (said["nights"], said["failed"], said["bearings"]) == (9, 0, 5)
    page = (made.folder / "report.html").read_text(encoding="utf-8")
    assert "What a replay cannot know" in page
    assert "<svg" in page
    assert "http" not in page
    with (made.folder / "decisions.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == DECISION_COLUMNS
    assert len(rows) == 9 * 5
    assert {row["night"] for row in rows} == {night.isoformat() for night in made.span.nights}


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal")
@pytest.mark.parametrize(("step", "done"), [("references", 6), ("nights", 2)])
def test_a_replay_goes_on_where_it_was_killed(site, made, fortnight, tmp_path, step, done):
    site = shutil.copytree(site, tmp_path / "site", ignore=shutil.ignore_patterns("backtest*"))
    arguments = [str(site), step, str(done), *(night.isoformat() for night in SPAN), str(EVERY), str(fortnight)]
    ended = subprocess.run([sys.executable, "-c", KILLED, *arguments], check=False)
    assert ended.returncode == -signal.SIGKILL
    cache = site / "store" / "cache" / "backtest"
    there = {path: path.stat().st_mtime_ns for path in cache.glob(f"{FILES[step]}-*.parquet")}
    assert len(there) == {2: 1, 6: 2}[done]  # of 2, 4 and 3 nights
    again = backtest(site, *SPAN, every=EVERY)
    assert {path: path.stat().st_mtime_ns for path in there} == there
    for name in ("decisions.csv", "outcomes.csv", "summary.json", "report.html"):
        assert (again.folder / name).read_bytes() == (made.folder / name).read_bytes()


def test_another_policy_that_measures_alike_keeps_the_deviations(site, made):
    bolder = parse_policy('base = "default"\n[guard.early_rise]\nover_db = 6.0\n', "bold.toml", default_policy())
    cache = site / "store" / "cache" / "backtest"
    before = {path.name for path in cache.glob("deviations-*")}
    other = backtest(site, *SPAN, every=EVERY, policy=bolder)
    assert {path.name for path in cache.glob("deviations-*")} == before
    assert other.policy != made.policy


def test_too_few_failures_move_nothing(site, made):
    found = tune(site, *SPAN, every=EVERY)
    assert found.proposed is None
    assert "too few failures" in found.text(100)
    assert not list((site / "out").glob("policy-proposed*"))
    assert json.loads(found.json())["why_not"]


def test_a_span_that_the_store_does_not_hold(site):
    with pytest.raises(InvalidArgument, match="store holds summaries"):
        backtest(site, SPAN[0], date(2027, 1, 1))
    with pytest.raises(InvalidArgument, match="not before the first"):
        backtest(site, SPAN[1], SPAN[0])
    with pytest.raises(InvalidArgument, match="at least 1"):
        backtest(site, *SPAN, every=0)


def test_without_a_store(tmp_path):
    with pytest.raises(CondlubeError, match="no store"):
        backtest(write_small_site(tmp_path), *SPAN)
