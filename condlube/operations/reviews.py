"""Verdicts of analysts: append-only, each knowing the last one that its author had seen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256

from condlube.errors import CondlubeError, StoreError
from condlube.operations.desk import Desk, Row
from condlube.schema.tables import TABLES
from condlube.schema.words import ACTIONS, NOTHING_FOUND, VERDICT_REASONS, VERDICTS
from condlube.store.store import Snapshot

NOTE_MOST = 2000
DEFER_MOST_DAYS = 366


class Conflict(CondlubeError):
    """Somebody else has judged the bearing since the page was shown; ``standing`` is their verdict."""

    def __init__(self, bearing_id: str, standing: Row) -> None:
        super().__init__(
            f"{bearing_id}: {standing['who']} has given a verdict since this page was shown; nothing was recorded"
        )
        self.bearing_id = bearing_id
        self.standing = standing


class Unfit(CondlubeError):
    """A form that cannot be recorded; ``faults`` holds what is expected, by field."""

    def __init__(self, faults: dict[str, str]) -> None:
        super().__init__("; ".join(f"{field}: expected {expected}" for field, expected in faults.items()))
        self.faults = faults


@dataclass(frozen=True)
class Verdict:
    """What an analyst says of one decision. ``last_review_seen`` is empty when the page showed none."""

    bearing_id: str
    night: date
    run_id: str
    who: str
    verdict: str
    call: str = ""
    defer_until: date | None = None
    reason: str = ""
    note: str = ""
    last_review_seen: str = ""


def submit(desk: Desk, verdicts: list[Verdict], now: datetime) -> list[str]:
    """Record the verdicts, all or none, in one ledger transaction, and give their ids. The same verdict sent twice is
    recorded once. A verdict whose reason is ``NOTHING_FOUND`` is recorded as an inspection without finding as well.

    A verdict's id is made of the bearing and the verdict that it answers: the ledger takes one answer to each, so that
    of two analysts who saw the same page the second is refused inside the transaction, and told.

    Raises
    ------
    Unfit
        When a verdict is not whole.
    Conflict
        When a bearing has a verdict that its author had not seen.
    """
    for verdict in verdicts:
        _check(desk, verdict, now)
    made = [_row(verdict, now) for verdict in verdicts]
    ids = [row["review_id"] for row in made]
    if len(set(ids)) < len(ids):
        raise Unfit({"bearing_id": "each bearing once"})

    def missing() -> list[Row]:
        held = {row["review_id"]: row for row in desk.store.ledger_rows("reviews", {"review_id": ids})}
        for row in made:
            other = held.get(row["review_id"])
            if other and any(other[name] != value for name, value in row.items() if name not in ("time", "known_at")):
                raise Conflict(row["bearing_id"], _newest(desk, row["bearing_id"]) or other)
        return [row for row in made if row["review_id"] not in held]

    while new := missing():
        try:
            looks = [_look(row) for row in new if row["reason"] == NOTHING_FOUND]
            desk.store.record("review", now, {"reviews": new, **({"events": looks} if looks else {})})
        except StoreError:
            if missing() == new:
                raise
    return ids


def newest_reviews(snapshot: Snapshot) -> dict[str, Row]:
    """The last verdict on each bearing."""
    return {row["bearing_id"]: row for row in snapshot.ledger_rows("reviews")}


def review_id(bearing_id: str, last_review_seen: str) -> str:
    """Id of the one verdict that can follow another on a bearing."""
    return sha256(f"{bearing_id}\n{last_review_seen}".encode()).hexdigest()[:16]


def _row(verdict: Verdict, now: datetime) -> Row:
    return {
        "review_id": review_id(verdict.bearing_id, verdict.last_review_seen),
        "run_id": verdict.run_id,
        "night": verdict.night,
        "bearing_id": verdict.bearing_id,
        "who": verdict.who,
        "time": now,
        "verdict": verdict.verdict,
        "call": verdict.call or None,
        "defer_until": verdict.defer_until,
        "reason": verdict.reason or None,
        "note": verdict.note or None,
        "last_review_seen": verdict.last_review_seen or None,
        "known_at": now,
    }


def _look(review: Row) -> Row:
    """The inspection that a verdict carries, as an event."""
    return {
        **dict.fromkeys(TABLES["events"].columns),
        **{name: review[name] for name in ("bearing_id", "time", "who", "note", "known_at")},
        "event_id": f"review-{review['review_id']}",
        "kind": "inspection",
        "finding": "none",
    }


def _check(desk: Desk, verdict: Verdict, now: datetime) -> None:
    faults = {}
    decision = desk.sight(verdict.night).decisions.get(verdict.bearing_id)
    if decision is None:
        faults["bearing_id"] = f"a bearing that was decided on {verdict.night}"
    elif verdict.run_id != decision["run_id"]:
        faults["run_id"] = f"the run that stands for {verdict.night}, {decision['run_id']}: it was decided again"
    if not verdict.who.strip():
        faults["who"] = "the name of the analyst"
    if verdict.verdict not in VERDICTS:
        faults["verdict"] = "one of " + ", ".join(VERDICTS)
    if verdict.verdict == "change" and verdict.call not in ACTIONS:
        faults["call"] = "one of " + ", ".join(ACTIONS)
    if verdict.reason == NOTHING_FOUND and verdict.call == "inspect":
        faults["call"] = "another call than inspect, where an inspection found nothing"
    today = desk.today(now)
    if verdict.verdict == "defer" and not (
        verdict.defer_until and 0 < (verdict.defer_until - today).days <= DEFER_MOST_DAYS
    ):
        faults["defer_until"] = f"a date after {today}, within {DEFER_MOST_DAYS} days"
    if verdict.verdict in ("change", "defer") and verdict.reason not in VERDICT_REASONS:
        faults["reason"] = "one of " + ", ".join(VERDICT_REASONS)
    if len(verdict.note) > NOTE_MOST or "\x00" in verdict.note:
        faults["note"] = f"text of at most {NOTE_MOST} characters"
    standing = _newest(desk, verdict.bearing_id)
    seen = verdict.last_review_seen
    if seen and not desk.store.ledger_rows("reviews", {"review_id": seen, "bearing_id": verdict.bearing_id}):
        faults["last_review_seen"] = f"a verdict on {verdict.bearing_id}"
    if faults:
        raise Unfit(faults)
    own = {review_id(verdict.bearing_id, seen)}
    if standing and standing["review_id"] not in {seen, *own}:
        raise Conflict(verdict.bearing_id, standing)


def _newest(desk: Desk, bearing_id: str) -> Row | None:
    return next(reversed(desk.store.ledger_rows("reviews", {"bearing_id": bearing_id})), None)
