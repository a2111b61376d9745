"""Event and work-order logs: records of the maintenance system become events of the register's own form.

A line is a record, which may run over several lines of text. The register's own rules judge each event; what they
do not let pass is rejected with the field at fault.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from condlube.acquisition.blocks import Block, Export, Lines, Unreadable
from condlube.acquisition.cells import parse
from condlube.acquisition.clock import to_utc
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.normalise import AHEAD, instant_of, us_of
from condlube.acquisition.numbers import to_float
from condlube.acquisition.readers.header import positions
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.readers.records import joined
from condlube.acquisition.reasons import CODE
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.text import strings
from condlube.acquisition.times import Times
from condlube.errors import ConfigurationError
from condlube.register.events import parse_events
from condlube.register.model import Register, Text
from condlube.schema.columns import COLUMNS
from condlube.schema.words import EVENT_KINDS

PLACES = ("bearing_id", "machine_id", "point_id")


_FORMS_WITHOUT_PATTERN = ("iso", "epoch_s", "epoch_ms", "serial")
_HOUR_US = 3_600_000_000


@dataclass(frozen=True)
class Entry:
    """One record of a log: its line, its number in the maintenance system ("" if none), and its event.

    ``event`` is a row of the events table without ``event_id`` and ``known_at``.
    """

    line: int
    number: str
    event: Mapping[str, Any]


@dataclass(frozen=True)
class _Record:
    line: int
    raw: str
    fields: Mapping[str, str]


def read_log(
    export: Export, source: SourceDefinition, register: Register, now: datetime, rejects: Rejects
) -> list[Entry]:
    """Events of an export in the order of its lines; lines = entries + rejects.

    Raises ``Unreadable`` where the file as a whole cannot be read.
    """
    records: list[_Record] = []
    with closing(Lines(export, source.format.encoding, 1 << 30)) as stream:
        columns = Columns(stream, source, source.format.header_line)
        for block in stream:
            records += _records(block, columns, source, register.site.zone, now, rejects)
    return _events(_of_known_kind(records, source, rejects), source, register, rejects)


def _records(
    block: Block, columns: Columns, source: SourceDefinition, zone: ZoneInfo, now: datetime, rejects: Rejects
) -> list[_Record]:
    """Records of a block whose fields and time can be read."""
    form, encoding = source.format, columns.encoding
    names = columns.names(form.header_line) if form.header_line else [""] * len(columns.sample(block))
    at = positions(source.columns, names)
    block = joined(block, form, encoding, len(names))
    cells = parse(block, columns.dialect, [pa.binary()] * len(names))
    _reject(rejects, block, encoding, cells.broken, cells.reason, "")
    times, problem = columns.times(cells, at)
    columns.mark_header(block, cells, problem)
    utc, problem = _in_utc(times, problem, source, zone, now)
    bad = np.flatnonzero(problem)
    _reject(rejects, block, encoding, cells.line[bad], problem[bad], str(source.columns["time"]))
    good = np.flatnonzero(problem == 0)
    text = {
        role: strings(cells.columns[k].combine_chunks(), encoding).to_pylist()
        for role, k in at.items()
        if role not in ("date", "time")
    }
    raw = [line.decode(encoding, "replace") for line in block.texts(cells.line[good])]
    return [
        _Record(
            int(cells.line[k]),
            raw[n],
            _fields({role: column[k].strip() for role, column in text.items()}, source)
            | {"time": instant_of(int(utc[k])).isoformat()},
        )
        for n, k in enumerate(good.tolist())
    ]


def _in_utc(
    times: Times, problem: np.ndarray, source: SourceDefinition, site_zone: ZoneInfo, now: datetime
) -> tuple[np.ndarray, np.ndarray]:
    """UTC times and what is wrong with them. A date alone means noon; of a repeated hour the first is taken."""
    form = source.format
    dates_only = form.time_format not in _FORMS_WITHOUT_PATTERN and not re.search("%[HI]", form.time_format)
    local = np.where(problem == 0, times.us + (12 * _HOUR_US if dates_only else 0), 0)
    utc, missing, _ = to_utc(local, form.zone or site_zone)
    utc = np.where(times.zoned, times.us, utc)
    problem = np.where((problem == 0) & missing & ~times.zoned, CODE["missing_hour"], problem)
    return utc, np.where((problem == 0) & (utc > us_of(now + AHEAD)), CODE["future"], problem)


def _fields(fields: dict[str, str], source: SourceDefinition) -> dict[str, str]:
    """Fields as the register's own events file holds them; what is no number by the source's marks is none there."""
    form = source.format
    for role, value in fields.items():
        if role in PLACES:
            fields[role] = source.places.get(value, value)
        elif COLUMNS[role].type == "float" and value:
            number = to_float(pa.array([value.encode()]), form.decimal, form.thousands, "utf-8")[0]
            fields[role] = f"'{value}'" if np.isnan(number) else repr(float(number))
    return fields | {"kind": source.kinds.get(fields["kind"].casefold(), fields["kind"])}


def _of_known_kind(records: list[_Record], source: SourceDefinition, rejects: Rejects) -> list[_Record]:
    """Records whose kind is an event kind; one reject stands for all records of another kind."""
    kept: list[_Record] = []
    others: dict[str, list[_Record]] = {}
    for record in records:
        kind = record.fields["kind"].casefold()
        (kept if kind in EVENT_KINDS and kind not in source.ignore_kinds else others.setdefault(kind, [])).append(
            record
        )
    for kind, same in others.items():
        reason = "ignored_kind" if kind in source.ignore_kinds else "unknown_kind"
        _reject_record(rejects, same[0], reason, str(source.columns["kind"]), len(same))
    return kept


def _events(records: list[_Record], source: SourceDefinition, register: Register, rejects: Rejects) -> list[Entry]:
    """Entries of the records that the register's rules let pass."""
    while records:
        try:
            table = parse_events(Text(source.name, _csv(records)), register)
        except ConfigurationError as error:
            faults = {fault.line: fault for fault in reversed(error.faults)}
            if min(faults) < _FIRST_LINE:
                raise Unreadable(str(error)) from error
            for line, fault in sorted(faults.items()):
                reason = "unknown_place" if fault.column in PLACES else "event_field"
                where = str(source.columns.get(fault.column, fault.column))
                _reject_record(rejects, records[line - _FIRST_LINE], reason, where, 1)
            records = [record for k, record in enumerate(records) if k + _FIRST_LINE not in faults]
            continue
        rows = {row.pop("event_id"): row for row in table.drop_columns(["known_at"]).to_pylist()}
        return [Entry(r.line, r.fields.get("event_id", ""), rows[_id(k)]) for k, r in enumerate(records)]
    return []


# Line of the first event in the text given to the register.
_FIRST_LINE = 2


def _csv(records: list[_Record]) -> str:
    roles = sorted({role for record in records for role in record.fields} - {"event_id"})
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["event_id", *roles])
    writer.writerows([_id(k), *(record.fields.get(role, "") for role in roles)] for k, record in enumerate(records))
    return text.getvalue()


def _id(position: int) -> str:
    return f"line-{position:09}"


def _reject(rejects: Rejects, block: Block, encoding: str, line: np.ndarray, reason: np.ndarray, field: str) -> None:
    raw = [text.decode(encoding, "replace") for text in block.texts(line)]
    rejects.add(line, reason, [field] * len(raw), raw, np.ones(len(raw), np.int64))


def _reject_record(rejects: Rejects, record: _Record, reason: str, field: str, repeats: int) -> None:
    rejects.add(np.array([record.line]), np.array([CODE[reason]]), [field], [record.raw], np.array([repeats]))
