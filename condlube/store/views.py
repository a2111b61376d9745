"""What a run sees: of rows that were written several times, those that hold as known by an instant."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import pyarrow as pa

from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.store.layout import SEQUENCE
from condlube.store.predicate import Filter
from condlube.store.snapshot import Snapshot


def readings(
    snapshot: Snapshot,
    as_of: datetime,
    known_by: datetime,
    filters: Sequence[Filter] = (),
    columns: Sequence[str] | None = None,
) -> pa.Table:
    """Readings before ``as_of`` known by ``known_by``: of one point and time the newest ingest wins."""
    seen = [*filters, ("time", "<", as_of), ("known_at", "<=", known_by)]
    return _latest(snapshot, "readings", ("point_id", "time"), (SEQUENCE,), seen, columns)


def summaries(
    snapshot: Snapshot, known_by: datetime, filters: Sequence[Filter] = (), columns: Sequence[str] | None = None
) -> pa.Table:
    """Summaries known by ``known_by``: the newest version of a point's day replaces all cells of the older ones."""
    seen = [*filters, ("known_at", "<=", known_by)]
    return _latest(snapshot, "summaries", ("point_id", "date"), ("known_at", SEQUENCE), seen, columns)


def expected(
    snapshot: Snapshot, known_by: datetime, filters: Sequence[Filter] = (), columns: Sequence[str] | None = None
) -> pa.Table:
    """Reference periods known by ``known_by``, every state of each; of rows with one key the newest append."""
    key = ("point_id", "reference_from", "known_at")
    return _latest(snapshot, "expected", key, (SEQUENCE,), [*filters, ("known_at", "<=", known_by)], columns)


def events_visible(snapshot: Snapshot, as_of: datetime, known_by: datetime) -> pa.Table:
    """Events before ``as_of`` known by ``known_by``, without those that a known correction supersedes.

    A correction counts even when it moves the event to after ``as_of``. Of several corrections of one event the newest
    holds. ``withdrawn`` events only take back what they supersede and are not shown.
    """
    known = [row for row in snapshot.ledger_rows("events") if row["known_at"] <= known_by]
    shown = [r for r in _standing(known, "event_id") if r["time"] < as_of and r["kind"] != "withdrawn"]
    return rows_to_table("events", shown)


def reviews_visible(snapshot: Snapshot, known_by: datetime) -> pa.Table:
    """Reviews known by ``known_by``, every one of them in order of commit."""
    return rows_to_table("reviews", [r for r in snapshot.ledger_rows("reviews") if r["known_at"] <= known_by])


def newest_known(snapshot: Snapshot) -> datetime | None:
    """The newest ``known_at`` of anything committed: the default ``known_by`` of a run. None in an empty store."""
    newest = [snapshot.newest(table, "known_at") for table in ("ingests", "events", "reviews")]
    return max((instant for instant in newest if instant is not None), default=None)


def run_of(snapshot: Snapshot, night: date | None = None) -> dict[str, Any] | None:
    """The ledger's row of the run that stands for a night, by default for the newest night: its latest run."""
    runs = snapshot.ledger_rows("runs", None if night is None else {"night": night})
    runs = [run for run in runs if run["night"] is not None]
    return max(runs, key=lambda run: (run["night"], run["commit_id"]), default=None)


def run_before(snapshot: Snapshot, night: date) -> dict[str, Any] | None:
    """The ledger's row of the run that stands for the last decided night before ``night``."""
    runs = [run for run in snapshot.ledger_rows("runs") if run["night"] < night]
    return max(runs, key=lambda run: (run["night"], run["commit_id"]), default=None)


def _standing(rows: Sequence[dict[str, Any]], key: str) -> list[dict[str, Any]]:
    newest = {row["supersedes"]: row[key] for row in rows if row["supersedes"]}
    return [r for r in rows if r[key] not in newest and (not r["supersedes"] or newest[r["supersedes"]] == r[key])]


def _latest(
    snapshot: Snapshot,
    table: str,
    key: Sequence[str],
    order: Sequence[str],
    filters: Sequence[Filter],
    columns: Sequence[str] | None,
) -> pa.Table:
    """Within each key the rows that are greatest in ``order``: several where they came together, as a day's cells."""
    wanted = arrow_schema(table).names if columns is None else list(columns)
    found = snapshot.read(table, list(dict.fromkeys([*wanted, *key, *order])), filters)
    if found.num_rows == 0:
        return found.select(wanted)
    group = np.zeros(found.num_rows, dtype=np.int64)
    for name in key:
        codes = found[name].combine_chunks().dictionary_encode(null_encoding="encode")
        group = group * len(codes.dictionary) + codes.indices.to_numpy()
    by_group = np.argsort(group, kind="stable")
    group = group[by_group]
    starts = np.flatnonzero(np.r_[True, group[1:] != group[:-1]])
    sizes = np.diff(np.r_[starts, len(group)])
    holds = np.ones(len(group), dtype=bool)
    for name in order:
        values = np.where(holds, found[name].cast(pa.int64()).to_numpy()[by_group], np.iinfo(np.int64).min)
        holds &= values == np.repeat(np.maximum.reduceat(values, starts), sizes)
    kept = np.empty_like(holds)
    kept[by_group] = holds
    return (found if kept.all() else found.filter(pa.array(kept))).select(wanted)
