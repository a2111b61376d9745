"""Who a run is: the hash of what it saw and by which rules."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, datetime
from hashlib import sha256

import pyarrow as pa

from condlube.store.rows import rows


def run_id(
    as_of: datetime,
    known_by: datetime,
    policy_digest: str,
    register_digest: str,
    definition_digest: str,
    events_digest: str,
    readings_version: int,
) -> str:
    """16 hexadecimal digits. Equal for equal arguments, whatever the zone in which the instants are given."""
    seen = [
        *(_instant(moment) for moment in (as_of, known_by)),
        policy_digest, register_digest, definition_digest, events_digest, readings_version,
    ]  # fmt: skip
    return text_digest(json.dumps(seen))[:16]


def text_digest(text: str) -> str:
    """SHA-256 of a text, as 64 hexadecimal digits."""
    return sha256(text.encode()).hexdigest()


def table_digest(table: pa.Table) -> str:
    """SHA-256 of a table's content; the order of its rows and columns does not matter."""
    return rows_digest(table.column_names, row_texts(table))


def row_texts(table: pa.Table) -> list[str]:
    """The content of each row as text, whatever the order of the columns."""
    return [json.dumps(row, sort_keys=True, default=_plain) for row in rows(table)]


def rows_digest(columns: Iterable[str], texts: Iterable[str]) -> str:
    """``table_digest`` of a table that has such rows."""
    return text_digest("\n".join([json.dumps(sorted(columns)), *sorted(texts)]))


def _plain(value: object) -> str:
    return _instant(value) if isinstance(value, datetime) else str(value)


def _instant(moment: datetime) -> str:
    if moment.tzinfo is None:
        raise ValueError(f"{moment} has no time zone")
    return moment.astimezone(UTC).isoformat()
