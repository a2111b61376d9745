"""What an ingest would make of the files, without a store: for trying out a definition."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow.compute as pc

from condlube.acquisition.blocks import Export, Unreadable, exports_in, read_bytes
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.duplicates import settle
from condlube.acquisition.event_log import read_log
from condlube.acquisition.guess import Guess, guess
from condlube.acquisition.normalise import READING, instant_of
from condlube.acquisition.output import instants
from condlube.acquisition.read import look_again, read
from condlube.acquisition.reasons import REASONS
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.stage import Stage
from condlube.acquisition.tags import index_tags
from condlube.operations.ingest import Sources, check_sources, files_of
from condlube.operations.ingest_report import shorten, tags_text
from condlube.register.model import Register
from condlube.schema.words import QUALITIES
from condlube.units import CANONICAL

_SHOWN = 5
_SAMPLES = 2
_GUESS_BYTES = 256 << 10


@dataclass(frozen=True)
class FilePreview:
    """One file as the definition reads it. Counts leave aside what the store holds already.

    ``rows`` are the first readings or events in words, ``found`` the points (for a log, the places) with their lines,
    ``samples`` a few rejects by reason: line, field, raw text. ``refused`` says why the file as a whole cannot be read.
    """

    file: str
    source: str
    refused: str = ""
    lines: int = 0
    accepted: int = 0
    duplicate: int = 0
    rejected: int = 0
    empty: int = 0
    first: datetime | None = None
    last: datetime | None = None
    rows: tuple[str, ...] = ()
    found: Mapping[str, int] = field(default_factory=dict)
    unknown_tags: Mapping[str, int] = field(default_factory=dict)
    by_reason: Mapping[str, int] = field(default_factory=dict)
    samples: Mapping[str, list[tuple[int, str, str]]] = field(default_factory=dict)

    def text(self, zone: ZoneInfo) -> str:
        """The preview as an engineer reads it; times in ``zone``."""
        if self.refused:
            return f"{self.file} ({self.source}): refused: {self.refused}"
        lines = [
            f"{self.file} ({self.source}): {self.lines:,} lines = {self.accepted:,} to store "
            f"+ {self.duplicate:,} duplicate + {self.rejected:,} rejected"
            + (f"; {self.empty:,} cells empty" if self.empty else "")
        ]
        if self.first and self.last:
            span = " to ".join(f"{moment.astimezone(zone):%Y-%m-%d %H:%M}" for moment in (self.first, self.last))
            lines.append(f"  from {span} ({zone.key}), {len(self.found)} points found")
        lines += [f"    {row}" for row in self.rows]
        for reason, count in self.by_reason.items():
            lines.append(f"  {count:,} {reason}: {REASONS[reason]}")
            for line, column, raw in self.samples[reason]:
                lines.append(f"    line {line}, {column or 'whole line'}: {shorten(raw)}")
        if self.unknown_tags:
            lines.append(f"  unknown tags, {len(self.unknown_tags):,} in all: {tags_text(self.unknown_tags)}")
        return "\n".join(lines)


def preview(definition: Sources, register: Register, now: datetime) -> list[FilePreview]:
    """Read all files of all sources and store nothing. Raises ``ConfigurationError`` as ``ingest`` does."""
    check_sources(definition, register)
    previews = []
    for source in definition.sources:
        for path in files_of(definition, source):
            previews += _of_path(path, source, register, now)
    return previews


def guess_definition(path: Path, name: str, pattern: str, register: Register | None) -> str:
    """TOML of a definition for files such as ``path``, marked as a guess, with what the sample leaves open."""
    try:
        with exports_in(path)[0].open() as stream:
            sample = read_bytes(stream, _GUESS_BYTES)
    except (Unreadable, OSError) as error:
        raise Unreadable(f"{path.name}: {error}") from error
    tags = [tag for tag in register.points["tag"].to_pylist() if tag] if register else []
    made: Guess = guess(sample, name, pattern, tags)
    head = [f"# A GUESS from {path.name}: confirm every line, then try it with `condlube ingest --dry-run`."]
    return "\n".join([*head, *(f"# ? {doubt}" for doubt in made.doubts), "", made.text])


def _of_path(path: Path, source: SourceDefinition, register: Register, now: datetime) -> list[FilePreview]:
    try:
        exports = exports_in(path)
    except (Unreadable, OSError) as error:
        return [FilePreview(path.name, source.name, refused=str(error))]
    previews = []
    for export in exports:
        name = f"{path.name}/{export.member}" if export.member else path.name
        look = _of_log if source.reader == "events" else _of_readings
        try:
            with closing(Rejects()) as rejects:
                previews.append(look(name, export, source, register, now, rejects))
        except (Unreadable, OSError) as error:
            previews.append(FilePreview(name, source.name, refused=str(error)))
    return previews


def _of_readings(
    name: str, export: Export, source: SourceDefinition, register: Register, now: datetime, rejects: Rejects
) -> FilePreview:
    points = register.points.select(["point_id", "quantity"]).to_pylist()
    with Stage(len(points)) as stage:
        index = index_tags(source, register.points)
        account = read(export, source, index, register.site.zone, now, stage, rejects)
        accepted, spans, earliest = 0, list[datetime](), np.empty(0, READING)
        found: Counter[str] = Counter()
        for part in stage.parts():
            kept, conflicting = settle(part)
            account.add_late(conflicting["line"], conflicting["tag"], "conflict")
            accepted += len(kept)
            spans += [moment for moment in instants(part) if moment]
            number, count = np.unique(part["point"], return_counts=True)
            found.update({points[k]["point_id"]: n for k, n in zip(number.tolist(), count.tolist(), strict=True)})
            earliest = np.sort(np.concatenate([earliest, kept]), order="line")[:_SHOWN]
    look_again(account, export, source)
    rows = []
    for reading in earliest:
        point = points[int(reading["point"])]
        when = instant_of(int(reading["time"])).astimezone(register.site.zone)
        value = f"{reading['value']:g} {CANONICAL[point['quantity']]}"
        rows.append(f"{point['point_id']}  {when:%Y-%m-%d %H:%M:%S}  {value}  {QUALITIES[int(reading['quality'])]}")
    return FilePreview(
        name,
        source.name,
        lines=account.lines,
        accepted=accepted,
        duplicate=account.lines - accepted - rejects.count,
        rejected=rejects.count,
        empty=account.empty,
        first=min(spans, default=None),
        last=max(spans, default=None),
        rows=tuple(rows),
        found=dict(found),
        unknown_tags=account.tag_counts("unknown_tag"),
        by_reason=dict(rejects.by_reason.most_common()),
        samples=_samples(rejects, now),
    )


def _of_log(
    name: str, export: Export, source: SourceDefinition, register: Register, now: datetime, rejects: Rejects
) -> FilePreview:
    entries = read_log(export, source, register, now, rejects)
    events = [entry.event for entry in entries]
    times = [event["time"] for event in events]
    place = [str(event["bearing_id"] or event["machine_id"] or event["point_id"] or "") for event in events]
    rows = [
        f"{event['kind']}  {where}  {event['time'].astimezone(register.site.zone):%Y-%m-%d %H:%M}"
        for event, where in list(zip(events, place, strict=True))[:_SHOWN]
    ]
    return FilePreview(
        name,
        source.name,
        lines=len(entries) + rejects.count,
        accepted=len(entries),
        rejected=rejects.count,
        first=min(times, default=None),
        last=max(times, default=None),
        rows=tuple(rows),
        found=dict(Counter(place)),
        by_reason=dict(rejects.by_reason.most_common()),
        samples=_samples(rejects, now),
    )


def _samples(rejects: Rejects, now: datetime) -> dict[str, list[tuple[int, str, str]]]:
    """The first rejects of each reason."""
    samples: dict[str, list[tuple[int, str, str]]] = {}
    for table in rejects.tables("", "", "", now):
        for reason in set(table["reason"].to_pylist()):
            same = table.filter(pc.equal(table["reason"], reason)).slice(0, _SAMPLES)
            shown = zip(*(same[column].to_pylist() for column in ("line", "field", "raw")), strict=True)
            samples[reason] = (samples.get(reason, []) + list(shown))[:_SAMPLES]
    return samples
