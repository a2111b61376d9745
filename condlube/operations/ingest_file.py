"""One export into the store: read to the end first, then append, then one commit; or nothing at all."""

from __future__ import annotations

import errno
import hashlib
import json
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pyarrow as pa

from condlube.acquisition.account import Account
from condlube.acquisition.blocks import Export, Unreadable
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.duplicates import newest, not_stored, settle
from condlube.acquisition.normalise import instant_of
from condlube.acquisition.output import day_spans, from_table, instants, to_table
from condlube.acquisition.read import look_again, read
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.stage import Stage
from condlube.errors import StoreError
from condlube.operations.ingest_report import FileReport
from condlube.register.model import Register
from condlube.store.layout import SEQUENCE
from condlube.store.snapshot import Snapshot
from condlube.store.writer import Writer


@dataclass(frozen=True)
class Found:
    """A file as found: ``label`` is its name as the user knows it, ``attempt`` counts the readings of one content."""

    export: Export
    label: str
    size: int
    mtime_ns: int
    digest: str
    attempt: int

    def is_unchanged(self) -> bool:
        stat = self.export.path.stat()
        return (stat.st_size, stat.st_mtime_ns) == (self.size, self.mtime_ns)


def take(found: Found, source: SourceDefinition, register: Register, writer: Writer, now: datetime) -> FileReport:
    """Read one file and commit it. Raises ``Unreadable`` or ``OSError``, nothing committed, if it cannot be read.

    No room to work in, or a failing store, is a ``StoreError``: later files must not overtake this one.
    """
    with Stage(register.points.num_rows) as stage, closing(Rejects()) as rejects:
        try:
            account = read(found.export, source, register.points, register.site.zone, now, stage, rejects)
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise StoreError(f"{found.label}: no room for temporary files while reading it: {error}") from error
            raise
        if not found.is_unchanged():
            return FileReport(source.name, found.label, "waiting", "it was written to while it was read")
        try:
            return _commit(found, source, register, writer, now, account, stage)
        except (Unreadable, OSError) as error:
            raise StoreError(f"{found.label}: it was read, but could not be stored: {error}") from error


def _commit(
    found: Found,
    source: SourceDefinition,
    register: Register,
    writer: Writer,
    now: datetime,
    account: Account,
    stage: Stage,
) -> FileReport:
    ingest_id = ingest_id_of(source, found)
    delay = timedelta(hours=source.delay_h) if source.history else None
    point_ids = register.points["point_id"].combine_chunks()
    stored = _Stored(writer, point_ids)
    kept_count, spans, remarks = 0, [], list[dict[str, object]]()
    for part in stage.parts():
        kept, conflicting = settle(part)
        account.add_late(conflicting["line"], conflicting["tag"], "conflict")
        fresh = kept[not_stored(kept, stored.like(kept))]
        if len(fresh):
            writer.append("readings", to_table(fresh, point_ids, ingest_id, now, delay))
        kept_count += len(fresh)
        remarks += _remarks(account, fresh, point_ids)
        spans.append(instants(part))
    look_again(account, found.export, source)
    first = min((a for a, _ in spans if a), default=None)
    last = max((b for _, b in spans if b), default=None)
    known_at = now if delay is None else last + delay if last else None
    for table in account.rejects.tables(ingest_id, source.name, found.label, known_at or now):
        writer.append("rejects", table)
    report = FileReport(
        source=source.name,
        file=found.label,
        outcome="taken",
        ingest_id=ingest_id,
        lines=account.lines,
        stored=kept_count,
        duplicate=account.lines - kept_count - account.rejects.count,
        rejected=account.rejects.count,
        empty=account.empty,
        by_reason=dict(account.rejects.by_reason.most_common()),
        unknown_tags=account.tag_counts("unknown_tag"),
        first=first,
        last=last,
    )
    for remark in remarks:
        remark |= {"ingest_id": ingest_id, "known_at": known_at}
    ingest_row = ledger_row(report, found, source, known_at)
    writer.commit(source.name, now, {"ingests": [ingest_row], "remarks": remarks})
    return report


def _remarks(account: Account, fresh: np.ndarray, point_ids: pa.Array) -> list[dict[str, object]]:
    """What people wrote beside the readings that are new."""
    if not account.remarks:
        return []
    _, first = np.unique(fresh["line"], return_index=True)
    remarks: list[dict[str, object]] = []
    for reading in fresh[first]:
        if said := account.remarks.pop(int(reading["line"]), None):
            place = {"point_id": point_ids[int(reading["point"])].as_py(), "time": instant_of(int(reading["time"]))}
            remarks.append({"line": int(reading["line"]), **place, "who": said[0], "note": said[1]})
    return remarks


def ingest_id_of(source: SourceDefinition, found: Found) -> str:
    again = f"/{found.attempt}" if found.attempt > 1 else ""
    return hashlib.sha256(f"{source.name}/{found.digest}{again}".encode()).hexdigest()[:16]


def ledger_row(
    report: FileReport, found: Found, source: SourceDefinition, known_at: datetime | None
) -> dict[str, object]:
    counts = {
        "empty": report.empty,
        "reasons": report.by_reason,
        "unknown_tags": report.unknown_tags,
        "definition": source.digest,
        "attempt": found.attempt,
        "size": found.size,
        "mtime_ns": found.mtime_ns,
    }
    return {
        "ingest_id": report.ingest_id,
        "source": report.source,
        "file": report.file,
        "digest": found.digest,
        "lines": report.lines,
        "stored": report.stored,
        "duplicate": report.duplicate,
        "rejected": report.rejected,
        "first": report.first,
        "last": report.last,
        "known_at": known_at,
        "counts": json.dumps(counts, ensure_ascii=True),
    }


class _Stored:
    """What is stored already, read only where an earlier file reaches into the same days."""

    def __init__(self, writer: Writer, point_ids: pa.Array) -> None:
        self._snapshot: Snapshot = writer.snapshot()
        self._earlier = [(r["first"], r["last"]) for r in writer.ledger_rows("ingests") if r["stored"]]
        self._point_ids = point_ids

    def like(self, readings: np.ndarray) -> np.ndarray:
        """The newest stored reading per point and time, of these points on these days."""
        parts = [
            self._read(readings, first, last)
            for first, last in day_spans(readings)
            if any(begin < last and end >= first for begin, end in self._earlier)
        ]
        return newest(np.concatenate(parts)) if parts else readings[:0]

    def _read(self, readings: np.ndarray, first: datetime, last: datetime) -> np.ndarray:
        ids = self._point_ids.take(pa.array(np.unique(readings["point"]))).to_pylist()
        filters = [
            ("time", ">=", first),
            ("time", "<", last),
            ("point_id", ">=", min(ids)),
            ("point_id", "<=", max(ids)),
        ]
        table = self._snapshot.read("readings", ["point_id", "time", "value", "quality", SEQUENCE], filters)
        return from_table(table.sort_by(SEQUENCE), self._point_ids)
