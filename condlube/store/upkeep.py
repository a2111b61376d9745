"""Store upkeep: closed months rewritten in order, old evidence let go, dead files removed. Each step is a commit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

import pyarrow as pa
import pyarrow.compute as pc

from condlube.store import delta, order
from condlube.store.layout import LAYOUT, MONTH
from condlube.store.predicate import month
from condlube.store.store import Store
from condlube.store.views import run_of
from condlube.store.writer import Writer

_TRIM = "upkeep: let go evidence of unflagged nights of "


@dataclass(frozen=True)
class Upkeep:
    """What was done: months rewritten in order as (table, month), months of evidence trimmed, files removed."""

    ordered: tuple[tuple[str, str], ...]
    trimmed: tuple[str, ...]
    removed: int


def keep_up(
    store: Store,
    now: datetime,
    retention_days: int = 400,
    vacuum_days: int = 7,
    on_step: Callable[[str], None] = lambda step: None,
) -> Upkeep:
    """Bring the store into the shape in which it reads fast and stays small.

    Months before that of ``now`` whose files lie across each other are rewritten, each once; the present month is left
    to the nights. Evidence of nights whose whole month lies more than ``retention_days`` before the newest night is let
    go where the call was a plain hold; decisions stay. Files that no version of the last ``vacuum_days`` needs go.

    ``on_step`` is told of each step before it begins. Raises ``Busy`` while another writer is at work.
    """
    with store.writer() as writer:
        trimmed = _trim(writer, now, retention_days, on_step)
        ordered = _order(writer, now, on_step)
        on_step("removing files that nothing needs")
        removed = sum(writer.apply(delta.vacuum, table, vacuum_days) for table in LAYOUT)
        writer.commit("upkeep: remove files", now)
        for table in LAYOUT:
            writer.apply(delta.clean_log, table)
    return Upkeep(ordered, trimmed, removed)


def _trim(writer: Writer, now: datetime, days: int, on_step: Callable[[str], None]) -> tuple[str, ...]:
    newest = run_of(writer.snapshot())
    if newest is None:
        return ()
    # Counted from the newest night, for a clock that is wrong must not cost evidence.
    cutoff = month(newest["night"] - timedelta(days=days))
    done = {row["source"].removeprefix(_TRIM) for row in writer.ledger_rows("commits")}
    due = [m for m in writer.apply(order.months, "evidence") if m < cutoff and m not in done]
    for of in due:
        on_step(f"letting go evidence of unflagged nights of {of}")
        flagged = _flagged(writer, of)
        writer.apply(order.rewrite, "evidence", of, partial(_kept, flagged=flagged))
        writer.commit(_TRIM + of, now)
    return tuple(due)


def _flagged(writer: Writer, of: str) -> pa.Array:
    """The bearings and runs of a month that called for more than a plain hold, or that failed."""
    columns = ["run_id", "bearing_id", "call", "second_action"]
    decided = writer.snapshot().read("decisions", columns, [(MONTH, "=", of)])
    plain = pc.and_(pc.equal(decided["call"], "hold"), pc.equal(pc.fill_null(decided["second_action"], ""), ""))
    return _bearing_run(decided.filter(pc.invert(pc.fill_null(plain, False)))).combine_chunks()


def _kept(rows: pa.Table, flagged: pa.Array) -> pa.Table:
    return rows.filter(pc.is_in(_bearing_run(rows), flagged))


def _bearing_run(rows: pa.Table) -> pa.ChunkedArray:
    return pc.binary_join_element_wise(rows["run_id"], rows["bearing_id"], "\x1f")


def _order(writer: Writer, now: datetime, on_step: Callable[[str], None]) -> tuple[tuple[str, str], ...]:
    due = [(t, m) for t in LAYOUT for m in writer.apply(order.disordered, t) if m < month(now)]
    for table, of in due:
        on_step(f"ordering {of} of {table}")
        writer.apply(order.rewrite, table, of)
        writer.commit(f"upkeep: order {of} of {table}", now)
    return tuple(due)
