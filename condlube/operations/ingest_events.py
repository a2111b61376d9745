"""One event or work-order log into the ledger: new events, corrections of known ones, and the account of its lines."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import datetime, timedelta
from typing import Any

from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.event_log import Entry, read_log
from condlube.acquisition.rejects import Rejects
from condlube.operations.ingest_file import Found, ingest_id_of, ledger_row
from condlube.operations.ingest_report import FileReport
from condlube.register.model import Register
from condlube.store.writer import Writer

_NOT_SAID = ("event_id", "known_at", "supersedes", "commit_id")


def take_events_log(
    found: Found,
    source: SourceDefinition,
    register: Register,
    writer: Writer,
    now: datetime,
    remember: Callable[[Mapping[str, Any]], None],
) -> FileReport:
    """Read a log and commit it. Raises ``Unreadable`` or ``OSError``, nothing committed, if it cannot be read.

    A record that says what the ledger holds is a duplicate. A record under a number that the ledger holds with other
    words is a correction: a new event that supersedes the older one. ``remember`` is told the ledger row.
    """
    with closing(Rejects()) as rejects:
        entries = read_log(found.export, source, register, now, rejects)
        if not found.is_unchanged():
            return FileReport(source.name, found.label, "waiting", "it was written to while it was read")
        ingest_id = ingest_id_of(source, found)
        events = _new(entries, source, writer.ledger_rows("events"))
        delay = timedelta(hours=source.delay_h) if source.history else None
        rows = [event | {"known_at": now if delay is None else event["time"] + delay} for event in events]
        last = max((entry.event["time"] for entry in entries), default=None)
        known_at = now if delay is None else last + delay if last else None
        for table in rejects.tables(ingest_id, source.name, found.label, known_at or now):
            writer.append("rejects", table)
        report = FileReport(
            source=source.name,
            file=found.label,
            outcome="taken",
            ingest_id=ingest_id,
            lines=len(entries) + rejects.count,
            stored=len(rows),
            duplicate=len(entries) - len(rows),
            rejected=rejects.count,
            by_reason=dict(rejects.by_reason.most_common()),
            first=min((entry.event["time"] for entry in entries), default=None),
            last=last,
        )
        row = ledger_row(report, found, source, known_at)
        writer.commit(source.name, now, {"ingests": [row], "events": rows})
        remember(row)
    return report


def _new(entries: list[Entry], source: SourceDefinition, held: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Events that the ledger does not hold yet, in the order of the log."""
    superseded = {row["supersedes"]: row["event_id"] for row in held if row["supersedes"]}
    said = {row["event_id"]: _said(row) for row in held}
    new = []
    for entry in entries:
        text = _said(entry.event)
        first = f"{source.name}:{entry.number}" if entry.number else _hash(text)
        standing = first
        while standing in superseded:
            standing = superseded[standing]
        if said.get(standing) == text:
            continue
        event_id = first if standing not in said else f"{first}~{_hash(standing + text)}"
        supersedes = standing if standing in said else entry.event["supersedes"]
        said[event_id] = text
        if supersedes:
            superseded[supersedes] = event_id
        new.append({**entry.event, "event_id": event_id, "supersedes": supersedes})
    return new


def _said(event: Mapping[str, Any]) -> str:
    """What an event says, whoever named it, whenever it became known, and whatever the register adds to its place."""
    added = ("machine_id", "bearing_id") if event["point_id"] else ("machine_id",) if event["bearing_id"] else ()
    held = {name: v for name, v in event.items() if v is not None and name not in (*_NOT_SAID, *added)}
    return json.dumps(held, sort_keys=True, default=datetime.isoformat)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
