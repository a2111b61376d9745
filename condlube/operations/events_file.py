"""The site's events file: rows that the ledger does not hold yet are taken into it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from condlube.errors import Fault
from condlube.operations.check import Checked
from condlube.operations.event_changes import Rows, standing
from condlube.store.rows import rows
from condlube.store.store import Writer

_SOURCE = "events file"


def take_events(writer: Writer, checked: Checked, now: datetime) -> tuple[int, list[Fault]]:
    """Commit the new events of the file and give their number, and the ``doubtful_rows``.

    Each is known from its ``known_at``, which cannot lie after now. Where the file gives none it is known from now, or
    from its own time and the declared delay where the definition says ``history``.
    """
    ledger = writer.ledger_rows("events")
    doubtful = doubtful_rows(checked, ledger, now)
    held = {row["event_id"] for row in ledger}
    definition = checked.definition
    delay = timedelta(hours=definition.events_delay_h)
    new = []
    for row in rows(checked.events):
        if row["event_id"] not in held:
            usual = row["time"] + delay if definition.events_history else now
            new.append(row | {"known_at": min(row["known_at"], now) if row["known_at"] else usual})
    if new:
        writer.commit(_SOURCE, now, {"events": new})
    return len(new), doubtful


def doubtful_rows(checked: Checked, ledger: Sequence[dict[str, Any]], now: datetime) -> list[Fault]:
    """Rows of the events file that do not count as they read, each with what to do; ``ledger`` holds what is on record.

    Rows edited after they were recorded, rows that say a recorded event once more in other words, and rows that claim
    to become known in future.
    """
    events = rows(checked.events)
    if not events or checked.definition.events is None:
        return []
    file = Rows(checked.definition.read(checked.definition.events), events, checked.register)
    held = {row["event_id"]: row for row in ledger}
    ahead = [e for e in events if e["event_id"] not in held and e["known_at"] and e["known_at"] > now]
    expected = f"a time not after now, {now.isoformat()}, which is taken instead"
    return [
        *file.edited(held),
        *file.told_twice(standing([*ledger, *events])),
        *(file.fault(event, "known_at", event["known_at"].isoformat(), expected) for event in ahead),
    ]
