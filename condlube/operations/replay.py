"""Replay of a site's nights from its store: deviations and decisions by month, kept in the store's cache folder.

A replay that was broken off goes on with the first month that is not there; a policy that measures alike replays only
the decisions. What is kept is named by everything that can change it, so that it is never wrong, only unused.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from condlube.backtest.replay import Span, compare_nights, decide_nights, no_expected
from condlube.chain import Plant
from condlube.execution import map_batches
from condlube.operations.check import Checked
from condlube.operations.decide import decide_batch
from condlube.operations.store_history import StoreHistory
from condlube.policy.model import Policy
from condlube.schema.arrow import from_frame
from condlube.schema.nights import as_of
from condlube.store.identity import table_digest, text_digest
from condlube.store.store import Snapshot, Store

OnStep = Callable[[str, int, int], None]
"""Told what is being done (compare, decide), how many nights of it are done, and of how many."""


def quiet(step: str, done: int, of: int) -> None:
    """Tells nobody."""


@dataclass(frozen=True)
class Kept:
    """Where the replay of a span is kept: a file of deviations and one of decisions for every month."""

    span: Span
    deviations: tuple[Path, ...]
    decisions: tuple[Path, ...]

    def read(self) -> pa.Table:
        """All decisions, with the columns ``backtest.replay.VALUES``."""
        return pa.concat_tables(pq.read_table(path) for path in self.decisions)

    def read_deviations(self, columns: list[str]) -> pd.DataFrame:
        """Columns of the deviations of all nights."""
        return pa.concat_tables(pq.read_table(path, columns=columns) for path in self.deviations).to_pandas()


class _Work(NamedTuple):
    """One month to decide, in a form that can be handed to another process."""

    nights: tuple[date, ...]
    span: Span
    deviations: Path
    decisions: Path


def replay(
    checked: Checked, plant: Plant, span: Span, policy: Policy, snapshot: Snapshot, on_step: OnStep = quiet
) -> Kept:
    """Replay a span of nights under a policy, as far as that was not done before."""
    definition = checked.definition
    folder = definition.store / "cache" / "backtest"
    folder.mkdir(parents=True, exist_ok=True)
    works = list(_works(checked, plant, span, policy, snapshot, folder))
    _compare(plant, StoreHistory(snapshot), works, policy, on_step)
    missing = [work for work in works if not work.decisions.is_file()]
    done = len(span.nights) - sum(len(work.nights) for work in missing)
    step = partial(_decide, plant=plant, policy=policy, store=definition.store, ledger=definition.ledger,
                   commit_id=snapshot.commit_id)  # fmt: skip
    workers = min(definition.workers, max(len(missing), 1))
    for work, _ in zip(missing, map_batches(step, missing, workers), strict=True):
        done += len(work.nights)
        on_step("decide", done, len(span.nights))
    return Kept(span, tuple(w.deviations for w in works), tuple(w.decisions for w in works))


def _works(
    checked: Checked, plant: Plant, span: Span, policy: Policy, snapshot: Snapshot, folder: Path
) -> Iterator[_Work]:
    zone = plant.register.site.zone
    history = StoreHistory(snapshot)
    ingests = snapshot.ledger_rows("ingests")
    for nights in span.chunks:
        end, known_by = as_of(nights[-1], zone), span.known_by[nights[-1]]
        measured = [
            policy.measuring_digest, checked.definition.digest, plant.register.digest, version("condlube"),
            span.nights[0].isoformat(), [span.known_by[n].isoformat() for n in nights],
            sum(row["first"] is not None and row["first"] < end for row in ingests),
            _digest("events", history.events, known_by),
        ]  # fmt: skip
        decided = [*measured, policy.digest, _digest("reviews", history.reviews, known_by)]
        names = (f"{what}-{nights[0]}-{text_digest(json.dumps(of))[:16]}.parquet"
                 for what, of in (("deviations", measured), ("decisions", decided)))  # fmt: skip
        yield _Work(nights, span, *(folder / name for name in names))


def _digest(table: str, rows: pd.DataFrame, known_by: datetime) -> str:
    return table_digest(from_frame(table, rows[rows["known_at"] <= known_by]))


def _compare(plant: Plant, history: StoreHistory, works: list[_Work], policy: Policy, on_step: OnStep) -> None:
    expected, done = no_expected(), 0
    total = sum(len(work.nights) for work in works)
    for work in works:
        learned_file = work.deviations.with_name(work.deviations.name.replace("deviations", "expected"))
        if not (work.deviations.is_file() and learned_file.is_file()):
            learned, found = compare_nights(plant, history, expected, work.nights, work.span, policy)
            _write(learned_file, from_frame("expected", learned))
            _write(work.deviations, from_frame("deviations", found))
        expected = pd.concat([expected, pq.read_table(learned_file).to_pandas()], ignore_index=True)
        done += len(work.nights)
        on_step("compare", done, total)


def _decide(work: _Work, plant: Plant, policy: Policy, store: Path, ledger: str, commit_id: int) -> None:
    history = StoreHistory(Store.open(store, ledger).snapshot(commit_id))
    found = pq.read_table(work.deviations).to_pandas()
    tables = decide_nights(plant, history, found, work.nights, work.span, policy, decide_batch)
    _write(work.decisions, pa.concat_tables(tables))


def _write(path: Path, table: pa.Table) -> None:
    part = path.with_name(f".{path.name}.part")
    pq.write_table(table, part, compression="zstd")
    part.replace(path)
