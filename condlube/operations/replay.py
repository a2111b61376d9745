"""Replay of a site's nights from its store, by stretches: what each brings is kept in the store's cache folder.

A replay that was broken off goes on with the first stretch that is not there; a policy that measures alike replays only
the decisions. What is kept is named by everything that can change it, so that it is never wrong, only unused.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache, partial
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from condlube.backtest.replay import Span, compare_nights, decide_nights, learn_nights
from condlube.chain import Plant
from condlube.execution import map_after
from condlube.manipulation.kernel import starts_of
from condlube.operations.check import Checked
from condlube.operations.decide import decide_batch
from condlube.operations.files import clear_parts, own_part
from condlube.operations.store_history import StoreHistory
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema, from_frame
from condlube.schema.nights import as_of
from condlube.store.identity import row_texts, rows_digest, text_digest
from condlube.store.store import Snapshot, Store

OnStep = Callable[[str, int, int], None]
"""Told what is being done (references, nights), how many nights of it are done, and of how many."""
FORMAT = 4
"""Rises when the columns of a kept file change: older files are then not read."""
PART = "part"
"""Column of a kept file of references: the stretch of nights that brought each."""


def quiet(*_: object) -> None:
    """Tells nobody."""


@dataclass(frozen=True)
class Kept:
    """Where the replay of a span is kept: a file of deviations and one of decisions for every stretch of nights."""

    span: Span
    deviations: tuple[Path, ...]
    decisions: tuple[Path, ...]

    def read(self, columns: Sequence[str]) -> pd.DataFrame:
        """Columns of all decisions, ``backtest.replay.VALUES`` among them."""
        return _read(self.decisions, columns)

    def read_deviations(self, columns: Sequence[str], quantities: Sequence[str]) -> pd.DataFrame:
        """Columns of the deviations of some quantities on all nights."""
        return _read(self.deviations, columns, pc.field("quantity").isin(list(quantities)))


def _read(paths: Iterable[Path], columns: Sequence[str], wanted: pc.Expression | None = None) -> pd.DataFrame:
    tables = (pq.read_table(path, columns=list(columns), filters=wanted) for path in paths)
    return pa.concat_tables(tables).to_pandas(date_as_object=False)


class _Work(NamedTuple):
    """One stretch of nights to replay, in a form that can be handed to another process: its files, and those of the
    references that the stretches before it brought."""

    nights: tuple[date, ...]
    span: Span
    before: tuple[Path, ...]
    references: Path
    deviations: Path
    decisions: Path

    @property
    def done(self) -> bool:
        """Whether nothing of it is missing."""
        return all(path.is_file() for path in (self.references, self.deviations, self.decisions))


def replay(
    checked: Checked, plant: Plant, span: Span, policy: Policy, snapshot: Snapshot, on_step: OnStep = quiet,
    on_decided: Callable[[Path], None] = quiet,
) -> Kept:  # fmt: skip
    """Replay a span of nights under a policy, as far as that was not done before.

    References are learned in order of time; as soon as those of a stretch are there, it can be compared and decided
    beside the others. ``on_decided`` is given the files of decisions in order of time, each once it is there.
    """
    definition = checked.definition
    folder = definition.store / "cache" / "backtest"
    folder.mkdir(parents=True, exist_ok=True)
    clear_parts(folder)
    works = list(_works(checked, plant, span, policy, snapshot, folder))
    missing = [work for work in works if not work.done]
    again = {work.decisions for work in missing}
    site = _Site(plant, policy, definition.store, definition.ledger, snapshot.commit_id)
    known = done = len(span.nights) - sum(len(work.nights) for work in missing)

    def on_learned(work: _Work) -> None:
        nonlocal known
        known += len(work.nights)
        on_step("references", known, len(span.nights))

    workers = min(definition.workers, max(len(missing), 1))
    brought = map_after(partial(_learn, site=site), partial(_stretch, site=site), missing, workers, on_learned)
    for work in works:
        if work.decisions in again:
            done += next(brought)
            on_step("nights", done, len(span.nights))
        on_decided(work.decisions)
    return Kept(span, tuple(w.deviations for w in works), tuple(w.decisions for w in works))


def _works(
    checked: Checked, plant: Plant, span: Span, policy: Policy, snapshot: Snapshot, folder: Path
) -> Iterator[_Work]:
    zone = plant.register.site.zone
    history = StoreHistory(snapshot)
    ingests = snapshot.ledger_rows("ingests")
    events, reviews = _digests("events", history.events), _digests("reviews", history.reviews)
    before: tuple[Path, ...] = ()
    for nights in span.chunks:
        end, known_by = as_of(nights[-1], zone), span.known_by[nights[-1]]
        measured = [
            FORMAT, policy.measuring_digest, checked.definition.digest, plant.register.digest, version("condlube"),
            span.nights[0].isoformat(), [span.known_by[n].isoformat() for n in nights],
            sum(row["first"] is not None and row["first"] < end for row in ingests),
            events(known_by),
        ]  # fmt: skip
        decided = [*measured, policy.digest, reviews(known_by)]
        kinds = (("references", measured), ("deviations", measured), ("decisions", decided))
        names = (f"{what}-{nights[0]}-{text_digest(json.dumps(of))[:16]}.parquet" for what, of in kinds)
        work = _Work(nights, span, before, *(folder / name for name in names))
        before = (*before, work.references)
        yield work


def _digests(table: str, rows: pd.DataFrame) -> Callable[[datetime], str]:
    """The digest of what was known of a table by an instant."""
    made = from_frame(table, rows)
    texts, known_at = np.array(row_texts(made), dtype=object), rows["known_at"]
    return lambda known_by: rows_digest(made.column_names, texts[(known_at <= known_by).to_numpy()])


class _Site(NamedTuple):
    """What every stretch of a replay shares, in a form that can be handed to another process."""

    plant: Plant
    policy: Policy
    store: Path
    ledger: str
    commit_id: int

    @property
    def history(self) -> StoreHistory:
        return _history(self.store, self.ledger, self.commit_id)


def _learn(work: _Work, site: _Site) -> None:
    """Learn the references of a stretch, as far as that was not done, with those of the stretches before it."""
    if not work.references.is_file():
        learned = learn_nights(site.plant, site.history, _references(work.before), work.nights, work.span, site.policy)
        tables = [from_frame("expected", new).append_column(PART, pa.array([k] * len(new), pa.int64()))
                  for k, new in enumerate(learned)]  # fmt: skip
        _write(work.references, pa.concat_tables(tables))


def _references(paths: Iterable[Path]) -> pd.DataFrame:
    """Expected levels that were kept."""
    tables = [pq.read_table(path).drop_columns(PART) for path in paths]
    return pa.concat_tables([arrow_schema("expected").empty_table(), *tables]).to_pandas()


def _stretch(work: _Work, site: _Site) -> int:
    """Compare and decide the nights of a stretch, as far as that was not done; how many nights it has."""
    plant, history, policy = site.plant, site.history, site.policy
    if not work.deviations.is_file():
        own = pq.read_table(work.references).to_pandas()
        bounds = starts_of(own.pop(PART).to_numpy(), len(work.nights)).tolist()
        parts = [own.iloc[begin:end] for begin, end in pairwise(bounds)]
        found = compare_nights(plant, history, _references(work.before), parts, work.nights, work.span, policy)
        _write(work.deviations, from_frame("deviations", found))
    else:
        found = pq.read_table(work.deviations).to_pandas(date_as_object=False)
    if not work.decisions.is_file():
        tables = decide_nights(plant, history, found, work.nights, work.span, policy, decide_batch)
        _write(work.decisions, pa.concat_tables(tables))
    return len(work.nights)


@lru_cache(maxsize=1)
def _history(store: Path, ledger: str, commit_id: int) -> StoreHistory:
    """Opened once in a process: events and reviews are read once."""
    return StoreHistory(Store.open(store, ledger).snapshot(commit_id))


def _write(path: Path, table: pa.Table) -> None:
    part = own_part(path)
    words = [field.name for field in table.schema if pa.types.is_string(field.type)]
    pq.write_table(table, part, compression="lz4", use_dictionary=words, write_statistics=False)
    part.replace(path)
