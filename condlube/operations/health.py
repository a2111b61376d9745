"""The state of the data: points that say nothing and why, sources that are late, lines that were rejected."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from condlube.operations.desk import Row, Sight
from condlube.store.rows import rows

LATE_GAPS = 2.0
"""A source is late when nothing newer came for so many of its usual gaps between two files."""
SILENT = ("stale", "faulty", "absent", "not_testable")
LINES_MOST = 200


class Silent(NamedTuple):
    """A point, or a source without one, that could not be assessed on the night."""

    bearing_id: str
    point_id: str | None
    source: str
    status: str
    reason: str
    last: datetime | None


@dataclass(frozen=True)
class SourceState:
    """One source: files and lines so far, newest reading, and whether it is later than it usually is."""

    name: str
    files: int
    lines: int
    stored: int
    duplicate: int
    rejected: int
    last_reading: datetime | None
    last_file: datetime
    usual_gap: timedelta | None
    late: bool
    reasons: Mapping[str, int]


@dataclass(frozen=True)
class Health:
    """``statuses`` counts the sources of evidence by what could be said; ``unknown_tags`` maps a tag to its lines.
    ``files`` are newest first; ``tag_in`` gives the newest one with an unknown tag, ``reason_in`` that of each source
    with lines rejected for a reason."""

    statuses: Mapping[str, int]
    silent: Sequence[Silent]
    sources: Sequence[SourceState]
    unknown_tags: Mapping[str, int]
    files: Sequence[Row]
    tag_in: Mapping[str, str]
    reason_in: Mapping[str, Mapping[str, str]]


def health(sight: Sight) -> Health:
    """The state of the data behind the night; files newest first."""
    found = rows(sight.snapshot.read(
        "evidence", ["bearing_id", "point_id", "source", "status", "reason", "window_to"],
        [("night", "=", sight.night), ("run_id", "=", sight.run["run_id"]), ("point_id", "!=", None)],
    ))  # fmt: skip
    levels = [row for row in found if row["source"] in ("ultrasound", "acceleration", "impulsiveness", "velocity",
                                                        "temperature")]  # fmt: skip
    silent = [row for row in levels if row["status"] in SILENT]
    last = _last_readings(sight, [row["point_id"] for row in silent if row["window_to"] is None])
    ingests = sorted(sight.snapshot.ledger_rows("ingests"), key=lambda row: (row["known_at"], row["file"]))
    unknown: Counter[str] = Counter()
    tag_in: dict[str, str] = {}
    reason_in: dict[str, dict[str, str]] = {}
    for row in ingests:
        tags = json.loads(row["counts"]).get("unknown_tags", {})
        unknown.update(tags)
        tag_in.update(dict.fromkeys(tags, row["ingest_id"]))
        reason_in.setdefault(row["source"], {}).update(dict.fromkeys(reasons_of(row), row["ingest_id"]))
    by_source: dict[str, list[Row]] = {}
    for row in ingests:
        by_source.setdefault(row["source"], []).append(row)
    return Health(
        Counter(row["status"] for row in levels),
        sorted(
            Silent(r["bearing_id"], r["point_id"], r["source"], r["status"], r["reason"] or "",
                   r["window_to"] or last.get(r["point_id"]))
            for r in silent
        ),
        [_source(name, taken, sight.run["as_of"]) for name, taken in sorted(by_source.items())],
        dict(unknown.most_common()),
        ingests[::-1],
        tag_in,
        reason_in,
    )  # fmt: skip


def rejected_lines(sight: Sight, ingest_id: str, reason: str = "", text: str = "") -> list[Row]:
    """The first rejected lines of a file, by line: those with ``reason``, and with ``text`` in the line or the name of
    the field at fault (a tag that is a column of its own), where given."""
    filters = [("ingest_id", "=", ingest_id), *([("reason", "=", reason)] if reason else [])]
    read = rows(sight.snapshot.read("rejects", None, filters))
    found = [row for row in read if text in (row["raw"] or "") or text in (row["field"] or "")]
    return sorted(found, key=lambda row: (row["line"], row["field"] or ""))[:LINES_MOST]


def reasons_of(ingest: Row) -> dict[str, int]:
    """Rejected lines of one file by reason."""
    found: dict[str, int] = json.loads(ingest["counts"]).get("reasons", {})
    return found


def _source(name: str, taken: Sequence[Row], as_of: datetime) -> SourceState:
    reasons: Counter[str] = Counter()
    for row in taken:
        reasons.update(reasons_of(row))
    total = {c: sum(row[c] for row in taken) for c in ("lines", "stored", "duplicate", "rejected")}
    readings = sorted(row["last"] for row in taken if row["last"] is not None)
    gaps = [b - a for a, b in pairwise(readings) if b > a]
    usual = median(gaps) if len(gaps) >= 2 else None
    last = readings[-1] if readings else None
    return SourceState(
        name,
        len(taken),
        total["lines"],
        total["stored"],
        total["duplicate"],
        total["rejected"],
        last,
        max(row["known_at"] for row in taken),
        usual,
        bool(last and usual and as_of - last > LATE_GAPS * usual),
        dict(reasons.most_common()),
    )


def _last_readings(sight: Sight, point_ids: Sequence[str]) -> dict[str, datetime]:
    found = rows(sight.snapshot.read("summaries", ["point_id", "last_time"], [
        ("point_id", "in", sorted(set(point_ids))), ("last_time", "!=", None)
    ]))  # fmt: skip
    last: dict[str, datetime] = {}
    for row in found:
        last[row["point_id"]] = max(row["last_time"], last.get(row["point_id"], row["last_time"]))
    return last
