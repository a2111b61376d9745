"""What the calls of a policy would have been worth: past nights replayed, judged and reported."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from condlube.backtest.answers import CANNOT_KNOW, answers, side_by_side, table_of
from condlube.backtest.judge import ANSWERS, JUDGED, Judged, judge
from condlube.backtest.outcomes import Windows
from condlube.backtest.record import SENSITIVE
from condlube.backtest.replay import Span
from condlube.backtest.report import day_of, page, summary
from condlube.backtest.seen import events_seen
from condlube.chain import Plant
from condlube.errors import CondlubeError, InvalidArgument
from condlube.operations.big_csv import tables_csv
from condlube.operations.check import Checked, check
from condlube.operations.definition import default_policy
from condlube.operations.files import clear_parts, csv_text, json_text, write_whole
from condlube.operations.morning import DECISION_COLUMNS
from condlube.operations.readfile import read_text
from condlube.operations.replay import Kept, OnStep, quiet, replay
from condlube.operations.store_history import StoreHistory
from condlube.policy.model import Policy
from condlube.policy.parse import parse_policy
from condlube.schema.nights import as_of
from condlube.store import views
from condlube.store.store import Snapshot, Store

SEED = 20260101
"""The same resamples every time, so that two reports of one replay are equal."""


@dataclass(frozen=True)
class Backtest:
    """A replayed span: where its files are, and what came of its calls."""

    site: str
    span: Span
    policy: str
    folder: Path
    late: int
    failed: int
    judged: Judged

    def text(self, width: int) -> str:
        """The answers, the figures beside the nulls, and what a replay cannot know."""
        lines = [f"{self.site}: {self.nights} replayed", ""]
        for question, answer in answers(self.judged).items():
            lines += textwrap.wrap(f"{question} {answer}", width, subsequent_indent="  ")
        lines += ["", *side_by_side(list(self.judged.scores), table_of(self.judged), width), ""]
        lines += [*(line for said in (*self._doubts(), *CANNOT_KNOW)
                        for line in textwrap.wrap("- " + said, width, subsequent_indent="  "))]  # fmt: skip
        return "\n".join([*lines, "", f"Files: {self.folder}"])

    def summary(self) -> dict[str, Any]:
        """The same for machines."""
        return {
            "site": self.site, "first": self.span.nights[0], "last": self.span.nights[-1],
            "nights": len(self.span.nights), "policy": self.policy, "late_rows": self.late, "failed": self.failed,
            **summary(self.judged),
        }  # fmt: skip

    @property
    def nights(self) -> str:
        """Which nights, in words."""
        own = self.span.nights
        if len(own) == 1:
            return f"night {own[0]}"
        apart = (own[1] - own[0]).days
        return f"{len(own)} nights, {own[0]} to {own[-1]}" + (f", every {apart} days," if apart > 1 else "")

    def json(self) -> str:
        """``summary`` as text."""
        return json_text(self.summary())

    def _doubts(self) -> list[str]:
        said = []
        if self.late:
            said.append(f"{self.late} daily summaries became known only after the run hour of their night.")
        if self.failed:
            said.append(f"{self.failed} bearing-nights could not be decided; decisions.csv says why.")
        return said


def backtest(
    path: Path, first: date, last: date, every: int = 1, policy: Policy | None = None, on_step: OnStep = quiet
) -> Backtest:
    """Replay the nights from ``first`` to ``last``, judge the calls and write the report.

    Parameters
    ----------
    path
        The nightly definition, or the folder that holds it.
    every
        Replay every so many nights only; a call then stands for the nights up to the next one.
    policy
        Another policy than the one in force.
    on_step
        Told of progress: step, nights done, nights in all.

    Raises
    ------
    ConfigurationError
        With everything wrong with the site's files.
    InvalidArgument
        When the span is empty or lies outside what the store holds.
    """
    checked = check(path)
    plant = Plant.of(checked.register)
    definition = checked.definition
    snapshot = Store.open(definition.store, definition.ledger).snapshot()
    rules = checked.policy if policy is None else policy
    span = span_of(snapshot, checked, plant, first, last, every)
    folder = definition.output / f"backtest-{span.nights[0]}-{span.nights[-1]}"
    folder.mkdir(parents=True, exist_ok=True)
    clear_parts(folder)
    written: list[Future[None]] = []
    with tables_csv(folder / "decisions.csv", DECISION_COLUMNS) as append, ThreadPoolExecutor(1) as beside:
        kept = replay(checked, plant, span, rules, snapshot, on_step,
                      lambda file: written.append(beside.submit(append, file)))  # fmt: skip
        decisions, judged = judge_kept(kept, plant, snapshot, rules)
        for piece in written:
            piece.result()
    failed = int((decisions["failed"].fillna("") != "").sum())
    made = Backtest(definition.site.name, span, rules.digest, folder, _late(snapshot, span), failed, judged)
    _write(made)
    return made


def policy_at(path: Path) -> Policy:
    """A policy from a file of its own; what it does not set is the default's. Raises ``ConfigurationError``."""
    return parse_policy(read_text(path, str(path)), str(path), default_policy())


def span_of(snapshot: Snapshot, checked: Checked, plant: Plant, first: date, last: date, every: int) -> Span:
    """The nights wanted, which the store must hold summaries of."""
    if last < first:
        raise InvalidArgument("to", str(last), f"a night not before the first one, {first}")
    if every < 1:
        raise InvalidArgument("every", every, "a whole number of at least 1")
    dates = snapshot.read("summaries", ["date"])["date"]
    if not len(dates):
        raise CondlubeError("the store holds no summaries yet: run `condlube nightly` first")
    there = pc.min_max(dates).as_py()
    if last > there["max"] or first < there["min"]:
        wanted = f"nights from {there['min']} to {there['max']}, of which the store holds summaries"
        raise InvalidArgument("span", f"{first} to {last}", wanted)
    return Span.of(first, last, plant, checked.definition.run_hour, every)


def judge_kept(
    kept: Kept, plant: Plant, snapshot: Snapshot, policy: Policy, columns: Sequence[str] = JUDGED
) -> tuple[pd.DataFrame, Judged]:
    """Columns of the decisions of a replay, and what came of them by the record as it stands today."""
    decisions, found = kept.read(columns), kept.read_deviations(ANSWERS, SENSITIVE)
    history = StoreHistory(snapshot)
    newest = views.newest_known(snapshot)
    assert newest is not None  # a replay needs summaries, which come of readings
    events = events_seen(history.events, as_of(date(9000, 1, 1), plant.register.site.zone), newest)
    rng = np.random.default_rng(SEED)
    return decisions, judge(plant, decisions, found, events, history.reviews, policy, Windows(), rng)


def _late(snapshot: Snapshot, span: Span) -> int:
    """Summaries of the replayed nights that no replayed night of theirs could know by its run hour."""
    window = [("date", ">=", span.nights[0]), ("date", "<=", span.nights[-1])]
    found = snapshot.read("summaries", ["date", "known_at"], window).to_pandas(date_as_object=False)
    by = pd.Series({pd.Timestamp(night): pd.Timestamp(t) for night, t in span.known_by.items()})
    limit = pd.to_datetime(found["date"]).map(by)
    return int((found["known_at"] > limit).sum())


def _write(made: Backtest) -> None:
    """What came of the decisions of a replay, in three files; each is whole or not there."""
    folder = made.folder
    found = made.judged.outcomes.astype(object).where(made.judged.outcomes.notna(), None)
    for name in ("first", "last"):
        found[name] = [day_of(day) for day in found[name]]
    write_whole(folder / "outcomes.csv", csv_text(list(found.columns), found.to_dict(orient="records")))
    write_whole(folder / "summary.json", made.json())
    title = f"{made.site}: {made.nights} replayed"
    facts = {"policy": made.policy[:12], "bearings": len(made.judged.grid.bearing_ids),
             "bearing-years": f"{made.judged.grid.years.sum():.1f}", "rows known late": made.late}  # fmt: skip
    write_whole(folder / "report.html", page(title, made.judged, facts))
