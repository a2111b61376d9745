"""Taking in what is new: every file of every source once, each with one ledger commit that accounts for its lines."""

from __future__ import annotations

import glob
import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Protocol

from condlube.acquisition.blocks import Export, Unreadable, exports_in
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.normalise import instant_of
from condlube.acquisition.tags import binding_faults
from condlube.errors import ConfigurationError
from condlube.operations.ingest_batch import Batch
from condlube.operations.ingest_events import take_events_log
from condlube.operations.ingest_file import Found
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

    A file is taken whole or not at all; small files of a source share a commit. One that cannot be read is reported and
    does not stop the others. Raises ``ConfigurationError`` when a source names points or units that the register does
    not bear out.
    """
    check_sources(definition, register)
    reports = []
    for source in definition.sources:
        for report in _of_source(definition, source, register, writer, now):
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


def _of_source(
    definition: Sources, source: SourceDefinition, register: Register, writer: Writer, now: datetime
) -> Iterator[FileReport]:
    """Reports of all files of a source; those taken come when they are committed."""
    history = _History(writer.ledger_rows("ingests", {"source": source.name}), source, register)
    batch = Batch(source, register, writer, now, history.add)
    for path in files_of(definition, source):
        label = _label(path, definition.folder)
        try:
            stat = path.stat()
            age = abs(now - instant_of(stat.st_mtime_ns // 1000))
            if age < timedelta(seconds=source.settle_s):
                message = f"it was written to {age.total_seconds():.0f} s ago; it is taken next time"
                yield FileReport(source.name, label, "waiting", message)
                continue
            exports = exports_in(path)
        except (Unreadable, OSError) as error:
            yield FileReport(source.name, label, "refused", str(error))
            continue
        for export in exports:
            name = f"{label}/{export.member}" if export.member else label
            try:
                found = history.found(export, name, stat)
                if isinstance(found, FileReport):
                    yield found
                elif source.reader == "events":
                    yield take_events_log(found, source, register, writer, now, history.add)
                else:
                    yield from batch.take(found)
            except (Unreadable, OSError) as error:
                yield FileReport(source.name, name, "refused", str(error))
    yield from batch.commit()


class _History:
    """What was taken of a source before."""

    def __init__(self, rows: Sequence[Mapping[str, Any]], source: SourceDefinition, register: Register) -> None:
        self._source = source
        self._tags = {*register.points["tag"].to_pylist(), *source.tags, *source.ignore}
        self._by_file: dict[tuple[str, int, int], Mapping[str, Any]] = {}
        self._by_digest: dict[str, Mapping[str, Any]] = {}
        for row in rows:
            self.add(row)

    def add(self, row: Mapping[str, Any]) -> None:
        """Take note of a row of the ledger's ingests."""
        counts = json.loads(row["counts"])
        self._by_file[(row["file"], counts["size"], counts["mtime_ns"])] = row
        self._by_digest[row["digest"]] = row

    def found(self, export: Export, label: str, stat: os.stat_result) -> Found | FileReport:
        """The file to be taken, or the report that it was taken before.

        It is hashed only if name, size and time are not those of a file taken before.
        """
        same = self._by_file.get((label, stat.st_size, stat.st_mtime_ns))
        digest = str(same["digest"]) if same else self._digest(export)
        earlier = self._by_digest.get(digest)
        if earlier and not self._may_gain(earlier):
            return FileReport(self._source.name, label, "known", ingest_id=str(earlier["ingest_id"]))
        attempt = json.loads(earlier["counts"])["attempt"] + 1 if earlier else 1
        return Found(export, label, stat.st_size, stat.st_mtime_ns, digest, attempt)

    def _digest(self, export: Export) -> str:
        """SHA-256 of what the file says: of its content, and of its name where that names the tag."""
        content = export.digest()
        if self._source.reader != "per_tag" or self._source.tag_line:
            return content
        return hashlib.sha256(f"{content}/{export.path.name}".encode()).hexdigest()

    def _may_gain(self, row: Mapping[str, Any]) -> bool:
        """Whether reading the file again may store what was rejected: the definition or the tags have changed."""
        counts = json.loads(row["counts"])
        if not row["rejected"]:
            return False
        return counts["definition"] != self._source.digest or not self._tags.isdisjoint(counts["unknown_tags"])


def _label(path: Path, folder: Path) -> str:
    try:
        return path.relative_to(folder).as_posix()
    except ValueError:
        return path.as_posix()
