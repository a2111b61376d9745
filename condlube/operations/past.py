"""What happened to one bearing: events, earlier decisions, verdicts."""

from __future__ import annotations

from condlube.operations.desk import Row, Sight
from condlube.store.rows import rows
from condlube.store.store import Snapshot

_DECISION_COLUMNS = (
    "run_id", "night", "call", "look_at", "second_action", "basis", "reason", "x", "due_date", "condition_status",
    "p_starved", "p_supply_fault", "p_damaged",
)  # fmt: skip


def events_of(snapshot: Snapshot, bearing: Row) -> list[Row]:
    """Events of the bearing and of its machine as they stand now, corrections in place of what they correct."""
    named = snapshot.ledger_rows("events", {"bearing_id": bearing["bearing_id"]})
    if bearing["machine_id"]:
        of_machine = snapshot.ledger_rows("events", {"machine_id": bearing["machine_id"]})
        named += [row for row in of_machine if row["bearing_id"] is None]
    ids = [row["event_id"] for row in named]
    answers = snapshot.ledger_rows("events", {"supersedes": ids}) if ids else []
    newest = {row["supersedes"]: row["event_id"] for row in answers}
    standing = [
        row
        for row in {row["event_id"]: row for row in named}.values()
        if row["event_id"] not in newest and row["kind"] != "withdrawn"
        and (not row["supersedes"] or newest.get(row["supersedes"], row["event_id"]) == row["event_id"])
    ]  # fmt: skip
    return sorted(standing, key=lambda row: (row["time"], row["event_id"]))


def decisions_of(sight: Sight, bearing_id: str) -> list[Row]:
    """The bearing's decisions of all decided nights up to this one, oldest first."""
    standing = {run["run_id"] for run in sight.runs}
    found = rows(sight.snapshot.read("decisions", _DECISION_COLUMNS, [
        ("bearing_id", "=", bearing_id), ("night", "<=", sight.night)
    ]))  # fmt: skip
    return sorted((row for row in found if row["run_id"] in standing), key=lambda row: row["night"])


def reviews_of(snapshot: Snapshot, bearing_id: str) -> list[Row]:
    """Every verdict on the bearing, oldest first."""
    return snapshot.ledger_rows("reviews", {"bearing_id": bearing_id})
