"""Taking in what is new: every file of every source once, each with one ledger commit that accounts for its lines."""

from __future__ import annotations

import glob
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Protocol

from condlube.acquisition.blocks import Export, Unreadable, exports_in
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.normalise import instant_of
from condlube.acquisition.tags import binding_faults
from condlube.errors import ConfigurationError
from condlube.operations.ingest_events import take_events_log
from condlube.operations.ingest_file import Found, take
from condlube.operations.ingest_report import FileReport, IngestReport
from condlube.register.model import Register
from condlube.store.writer import Writer


class Sources(Protocol):
    """What ingest needs of a nightly definition: its sources, and the folder that their patterns start from."""

    @property
    def folder(self) -> Path: ...

    @property
    def sources(self) -> Sequence[SourceDefinition]: ...


def ingest(
    definition: Sources,
    register: Register,
    writer: Writer,
    now: datetime,
    progress: Callable[[FileReport], None] = lambda report: None,
) -> IngestReport:
    """Take in all files of all sources that are new, or that had rejects and are understood better now.

    A file is taken whole, with one commit, or not at all; one that cannot be read is reported and does not stop the
    others. Raises ``ConfigurationError`` when a source names points or units that the register does not bear out.
    """
    check_sources(definition, register)
    reports = []
    for source in definition.sources:
        history = _History(writer.ledger_rows("ingests", {"source": source.name}), source, register)
        for path in files_of(definition, source):
            for report in _take_path(path, _label(path, definition.folder), source, register, writer, history, now):
                progress(report)
                reports.append(report)
    return IngestReport(tuple(reports))


def check_sources(definition: Sources, register: Register) -> None:
    """Raise ``ConfigurationError`` with everything in which sources and register do not agree."""
    faults = [fault for source in definition.sources for fault in binding_faults(source, register.points)]
    if faults:
        raise ConfigurationError(faults)


def files_of(definition: Sources, source: SourceDefinition) -> list[Path]:
    """The files that a source's pattern finds today, by name."""
    found = glob.glob(str(definition.folder / source.files), recursive=True)  # noqa: PTH207 - patterns may be absolute
    return sorted(path for path in map(Path, found) if path.is_file())


def _take_path(
    path: Path,
    label: str,
    source: SourceDefinition,
    register: Register,
    writer: Writer,
    history: _History,
    now: datetime,
) -> Iterator[FileReport]:
    try:
        stat = path.stat()
        age = now - instant_of(stat.st_mtime_ns // 1000)
        if abs(age) < timedelta(seconds=source.settle_s):
            message = f"it was written to {abs(age).total_seconds():.0f} s ago; it is taken next time"
            yield FileReport(source.name, label, "waiting", message)
            return
        for export in exports_in(path):
            name = f"{label}/{export.member}" if export.member else label
            yield _take_export(export, name, stat.st_size, stat.st_mtime_ns, source, register, writer, history, now)
    except (Unreadable, OSError) as error:
        yield FileReport(source.name, label, "refused", str(error))


def _take_export(
    export: Export,
    label: str,
    size: int,
    mtime_ns: int,
    source: SourceDefinition,
    register: Register,
    writer: Writer,
    history: _History,
    now: datetime,
) -> FileReport:
    """Report on one export; it is hashed only if name, size and time are not those of a file taken before."""
    earlier = history.by_file.get((label, size, mtime_ns))
    digest = str(earlier["digest"]) if earlier else export.digest()
    earlier = history.by_digest.get(digest)
    if earlier and not history.may_gain(earlier):
        return FileReport(source.name, label, "known", ingest_id=str(earlier["ingest_id"]))
    attempt = json.loads(earlier["counts"])["attempt"] + 1 if earlier else 1
    try:
        found = Found(export, label, size, mtime_ns, digest, attempt)
        report = (take_events_log if source.reader == "events" else take)(found, source, register, writer, now)
    except (Unreadable, OSError) as error:
        return FileReport(source.name, label, "refused", str(error))
    if report.outcome == "taken":
        history.reload(writer.ledger_rows("ingests", {"source": source.name}))
    return report


class _History:
    """What was taken of a source before."""

    def __init__(self, rows: Sequence[Mapping[str, Any]], source: SourceDefinition, register: Register) -> None:
        self._definition = source.digest
        self._tags = {*register.points["tag"].to_pylist(), *source.tags, *source.ignore}
        self.reload(rows)

    def reload(self, rows: Sequence[Mapping[str, Any]]) -> None:
        counts = [json.loads(row["counts"]) for row in rows]
        self.by_digest = {row["digest"]: row for row in rows}
        self.by_file = {
            (row["file"], count["size"], count["mtime_ns"]): row for row, count in zip(rows, counts, strict=True)
        }

    def may_gain(self, row: Mapping[str, Any]) -> bool:
        """Whether reading the file again may store what was rejected: the definition or the tags have changed."""
        counts = json.loads(row["counts"])
        if not row["rejected"]:
            return False
        return counts["definition"] != self._definition or not self._tags.isdisjoint(counts["unknown_tags"])


def _label(path: Path, folder: Path) -> str:
    try:
        return path.relative_to(folder).as_posix()
    except ValueError:
        return path.as_posix()
