"""The site's events file: rows that the ledger does not hold yet are taken into it."""

from __future__ import annotations

from datetime import datetime, timedelta

from condlube.operations.check import Checked
from condlube.store.rows import rows
from condlube.store.store import Writer


def take_events(writer: Writer, checked: Checked, now: datetime) -> int:
    """Commit the new events of the file and give their number.

    Each is known from now, or from its own time and the declared delay where the definition says ``history``.
    """
    held = {row["event_id"] for row in writer.ledger_rows("events")}
    definition = checked.definition
    delay = timedelta(hours=definition.events_delay_h)
    new = [
        {**row, "known_at": row["time"] + delay if definition.events_history else now}
        for row in rows(checked.events)
        if row["event_id"] not in held
    ]
    if new:
        writer.commit("events file", now, {"events": new})
    return len(new)
