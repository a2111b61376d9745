"""Recording what people did and found: new rows in the ledger, known from now on; corrections are new rows too."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from condlube.errors import ConfigurationError, Fault
from condlube.operations.event_changes import Rows
from condlube.register.events import parse_events
from condlube.register.model import Register, Text
from condlube.schema.tables import TABLES
from condlube.store.rows import rows
from condlube.store.store import Store
from condlube.store.views import events_visible

__all__ = ["Recorded", "events_visible", "record", "record_file"]

_SOURCE = "record"


@dataclass(frozen=True)
class Recorded:
    """``new`` rows as they stand in the ledger now, and the ids of those that it held already."""

    new: tuple[dict[str, Any], ...]
    known: tuple[str, ...]


def record(store: Store, register: Register, kind: str, now: datetime, **fields: object) -> Recorded:
    """Record one event, known from ``now``.

    Parameters
    ----------
    kind
        A kind of event, for instance relubrication. ``withdrawn`` takes back what it ``supersedes``.
    now
        Time of the record, with its zone; without ``time`` the event happened now.
    fields
        Columns of the events table: ``bearing_id``, ``grease_g``, ``who``, ``supersedes`` and so on.

    Raises
    ------
    ConfigurationError
        With everything that is wrong with the event, in the words of the events file.
    """
    said = {"time": now, **fields, "kind": kind}
    columns = TABLES["events"].columns
    if unknown := [name for name in said if name not in columns]:
        raise ConfigurationError(Fault(_SOURCE, 0, name, name, f"one of {', '.join(columns)}") for name in unknown)
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(said)
    table.writerow([_cell(value) for value in said.values()])
    try:
        return record_file(store, register, Text(_SOURCE, text.getvalue()), now)
    except ConfigurationError as error:
        raise ConfigurationError(replace(fault, line=0) for fault in error.faults) from None


def record_file(store: Store, register: Register, source: Text, now: datetime) -> Recorded:
    """Record the events of a CSV file that the ledger does not hold yet.

    Each is known from its ``known_at``, or from ``now`` where the file gives none.

    Raises
    ------
    ConfigurationError
        With everything that is wrong; then nothing of the file is recorded.
    """
    events = rows(parse_events(source, register))
    if not store.exists():
        with store.writer():
            pass
    held = {row["event_id"]: row for row in store.ledger_rows("events")}
    file = Rows(source, events, register)
    new = [event for event in events if event["event_id"] not in held]
    faults = file.edited(held)
    for event in new:
        faults += [file.fault(event, *wrong) for wrong in _wrong(event, events, held, now)]
    if faults:
        raise ConfigurationError(faults)
    made = tuple(event | {"known_at": event["known_at"] or now} for event in new)
    if made:
        store.record(f"record {source.file}" if source.file != _SOURCE else _SOURCE, now, {"events": made})
    return Recorded(made, tuple(event["event_id"] for event in events if event["event_id"] in held))


def _wrong(
    event: Mapping[str, Any], events: Sequence[Mapping[str, Any]], held: Mapping[str, Mapping[str, Any]], now: datetime
) -> list[tuple[str, str, str]]:
    """What is wrong with a new event beside what the ledger holds and what the clock says: column, seen, expected."""
    own, old = event["event_id"], event["supersedes"]
    wrong = [
        (column, event[column].isoformat(), f"a time not after now, {now.isoformat()}")
        for column in ("time", "known_at")
        if event[column] is not None and event[column] > now
    ]
    if old is not None:
        known = {*held, *(other["event_id"] for other in events)}
        later = [e["event_id"] for e in (*held.values(), *events) if e["supersedes"] == old and e["event_id"] != own]
        if old not in known:
            wrong.append(("supersedes", old, "the event_id of a recorded event"))
        elif later:
            wrong.append(("supersedes", old, f"{later[-1]}, which has superseded it already"))
    return wrong


def _cell(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return "" if value is None else str(value)
