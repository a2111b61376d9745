"""A file as ingest found it, and its row in the ledger."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime

from condlube.acquisition.blocks import Export
from condlube.acquisition.definition import SourceDefinition
from condlube.operations.ingest_report import FileReport


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
