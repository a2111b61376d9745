"""The events file: what people did and found."""

from __future__ import annotations

import json
from datetime import datetime
from hashlib import sha256

import pyarrow as pa

from condlube.errors import ConfigurationError
from condlube.register.model import Register, Text
from condlube.register.rules import Rule, apply
from condlube.register.sheet import Sheet, read_sheet, require, unique
from condlube.schema.tables import TABLES

COLUMNS = TABLES["events"].columns
REQUIRED = ("time", "kind")
# Which of these ids an event of a kind must name, any one of them.
PLACES = {
    "relubrication": ("bearing_id",),
    "replacement": ("bearing_id",),
    "inspection": ("bearing_id", "machine_id"),
    "failure": ("bearing_id", "machine_id"),
    "sensor_moved": ("point_id",),
    "rebuilt": ("machine_id", "bearing_id"),
    "isolated": ("machine_id", "bearing_id"),
    "returned": ("machine_id", "bearing_id"),
}
RULES = (
    Rule(("supersedes", "kind"), lambda old, kind: kind != "withdrawn" or old is not None,
         "the event_id of the event that is withdrawn", of_empty=True),
    Rule(("failure_mode",), lambda mode: len(mode) == 3 and mode.isalpha() and mode.isupper(),
         "a code of ISO 14224, three capital letters as VIB"),
    Rule(("known_at", "time"), lambda known, happened: known >= happened, "a time not before the event, {time}"),
    Rule(("supersedes", "event_id"), lambda old, own: old != own, "another event than itself"),
    Rule(("lubrication_related", "kind"), lambda related, kind: kind in ("failure", "replacement", "inspection"),
         "nothing: only a failure, replacement or inspection can be caused by lubrication"),
)  # fmt: skip


def parse_events(source: Text, register: Register, whole: bool = True) -> pa.Table:
    """Events as a schema table, sorted by key; ``known_at`` is empty unless the file gives it.

    A time without an offset is local to the register's site, the first of two where clocks are put back; a date alone
    is local noon. An event without ``event_id`` is named by the hash of what it says, so that the same row taken in
    again is the same event. Ids are held to the register, unless that could not be read ``whole``.

    Raises
    ------
    ConfigurationError
        With all faults of the file.
    """
    sheet = read_sheet(source, COLUMNS, REQUIRED, register.site.zone)
    require(sheet, REQUIRED)
    apply(RULES, sheet)
    _name(sheet)
    _references(sheet, register, whole)
    _places(sheet)
    if sheet.faults:
        raise ConfigurationError(sheet.faults)
    return sheet.table("events")


def _references(sheet: Sheet, register: Register, whole: bool) -> None:
    """Hold every id to the register, and fill in the bearing of the point and the machine of the bearing."""
    bearings = dict(zip(*(register.bearings[c].to_pylist() for c in ("bearing_id", "machine_id")), strict=True))
    points = dict(zip(*(register.points[c].to_pylist() for c in ("point_id", "bearing_id")), strict=True))
    known = {
        "point_id": points,
        "bearing_id": bearings,
        "machine_id": set(bearings.values()),
        "grease_id": set(register.greases["grease_id"].to_pylist()),
    }
    for column, ids in known.items() if whole else ():
        for row, own in enumerate(sheet[column]):
            if own is not None and own not in ids:
                sheet.blame_id(row, column, f"a {column} of the register", ids)
    for column, source, owner in (("bearing_id", "point_id", points), ("machine_id", "bearing_id", bearings)):
        for row, (own, of) in enumerate(zip(sheet[column], sheet[source], strict=True)):
            owned = owner.get(of)
            if own is None:
                sheet[column][row] = owned
            elif owned not in (None, own):
                sheet.blame(row, column, f"{owned}, to which {source} {of} belongs, or nothing")


def _places(sheet: Sheet) -> None:
    for row, kind in enumerate(sheet["kind"]):
        needed = PLACES.get(kind, ())
        if needed and not any(sheet[column][row] or sheet.given(column)[row].strip() for column in needed):
            sheet.blame(row, needed[0], f"the {' or '.join(needed)} of the {kind}")


def _name(sheet: Sheet) -> None:
    """Give every event without an id the hash of what its row says, whatever the register adds to that."""
    said = [name for name in COLUMNS if name not in ("event_id", "known_at")]
    ids = sheet["event_id"]
    for row, fields in enumerate(zip(*(sheet[name] for name in said), strict=True)):
        if ids[row] is None:
            held = {name: value for name, value in zip(said, fields, strict=True) if value is not None}
            ids[row] = sha256(json.dumps(held, sort_keys=True, default=datetime.isoformat).encode()).hexdigest()[:16]
    unique(sheet, "event_id")
