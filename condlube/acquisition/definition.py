"""A source definition: where exports lie and how to read them, as TOML."""

from __future__ import annotations

import hashlib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from condlube.acquisition.keys import Keys
from condlube.acquisition.vocabulary import (
    NO_DATA,
    QUALITY_NUMBERS,
    READER_COLUMNS,
    STAMPS,
    TIME_FORMAT_EXPECTED,
    is_column,
    is_encoding,
    is_glob,
    is_kind,
    is_range,
    is_time_format,
    key_lines,
    names_tag,
)
from condlube.errors import ConfigurationError, Fault
from condlube.schema.words import EVENT_KINDS, QUALITIES


@dataclass(frozen=True)
class Format:
    """How the text of a source is to be read; ``zone`` None means the site's."""

    zone: ZoneInfo | None
    time_format: str
    delimiter: str
    quote: str
    decimal: str
    thousands: str
    encoding: str
    header_line: int
    stamp: str
    interval_min: float
    earliest: date
    span_days: float


@dataclass(frozen=True)
class Headers:
    """Where the header of a wide file says what: line numbers from 1, 0 for absent.

    ``unit_marks`` is the pair of brackets that hold a unit behind a tag; a column named as another with
    ``quality_suffix`` behind it holds that one's quality. Both may be empty.
    """

    tag: int
    unit: int
    description: int
    unit_marks: str
    quality_suffix: str


@dataclass(frozen=True)
class SourceDefinition:
    """One source of exports. ``files`` is a glob relative to the folder of the nightly definition.

    ``columns`` maps roles (time, tag, value, ...) to header names or 1-based positions; ``quality`` maps
    casefolded words to good, uncertain or bad; ``units`` and ``tags`` are by tag; ``ranges`` by tag or quantity, in
    canonical units. ``tag_pattern`` finds the tag (group tag) and perhaps the unit (group unit) in line ``tag_line`` of
    a file per tag, 0 being its name. ``values`` maps the value columns of a route file to what is put behind its tag.
    Of an event log ``kinds`` maps casefolded words to event kinds, ``places`` names of places to ids of the register.
    """

    file: str
    digest: str
    name: str
    files: str
    reader: str
    history: bool
    delay_h: float
    settle_s: float
    format: Format
    columns: Mapping[str, str | int]
    quality: Mapping[str, str]
    quality_numbers: str
    no_data: frozenset[str]
    units: Mapping[str, str]
    tags: Mapping[str, str]
    ignore: frozenset[str]
    ranges: Mapping[str, tuple[float, float]]
    headers: Headers
    tag_line: int
    tag_pattern: str
    values: Mapping[str, str]
    kinds: Mapping[str, str]
    ignore_kinds: frozenset[str]
    places: Mapping[str, str]
    lines: Mapping[tuple[str, str], int]

    def fault(self, section: str, key: str, seen: object, expected: str) -> Fault:
        """A fault of this definition, with the line on which the key stands."""
        return Fault(self.file, self.lines.get((section, key), 0), f"{section}.{key}", str(seen), expected)


def parse_source(text: str, file: str) -> SourceDefinition:
    """Definition from TOML text. Raises ``ConfigurationError`` with every fault found."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+)", str(error))
        line = int(place[1]) if place else text.count("\n") + 1
        raise ConfigurationError([Fault(file, line, "", str(error), "TOML")]) from None
    reader = Keys(file, content, key_lines(text))
    definition = _read(reader, hashlib.sha256(text.encode()).hexdigest())
    reader.refuse_rest()
    if reader.faults:
        raise ConfigurationError(reader.faults)
    return definition


def _read(r: Keys, digest: str) -> SourceDefinition:
    kind = r.choice("source", "reader", tuple(READER_COLUMNS), None)
    stamp = r.choice("format", "stamp", STAMPS, "begin")
    interval = r.number("format", "interval_min", 0.0, "minutes, 0 or more")
    if stamp == "end" and interval == 0.0:
        r.fault("format", "interval_min", interval, "the length in minutes of the interval that a stamp ends")
    decimal = r.choice("format", "decimal", (".", ","), ".")
    thousands = r.choice("format", "thousands", ("", ",", ".", " ", "'"), "")
    marks = [chr(k) for k in range(128) if chr(k) not in '\0\r\n"']
    delimiter = r.text("format", "delimiter", ",", marks.__contains__, "one ASCII character, no quote")
    if decimal in (thousands, delimiter):
        r.fault("format", "decimal", decimal, "a mark that is neither the thousands mark nor the delimiter")
    return SourceDefinition(
        file=r.file,
        digest=digest,
        name=r.text("source", "name", None, lambda s: bool(s.strip()), "a name"),
        files=r.text("source", "files", None, is_glob, "a file pattern relative to the nightly definition"),
        reader=kind,
        history=r.flag("source", "history", False),
        delay_h=r.number("source", "delay_h", 6.0, "hours, 0 or more"),
        settle_s=r.number("source", "settle_s", 5.0, "seconds, 0 or more"),
        format=Format(
            zone=_zone(r),
            time_format=r.text("format", "time_format", "iso", is_time_format, TIME_FORMAT_EXPECTED),
            delimiter=delimiter,
            quote=r.choice("format", "quote", ('"', "'", ""), '"'),
            decimal=decimal,
            thousands=thousands,
            encoding=r.text("format", "encoding", "utf-8", is_encoding, "the name of a text encoding"),
            header_line=r.count("format", "header_line", 1, 0),
            stamp=stamp,
            interval_min=interval,
            earliest=r.day("format", "earliest", date(2000, 1, 1)),
            span_days=r.number("format", "span_days", math.inf, "days, over 0", above=0.0),
        ),
        columns=_columns(r, kind),
        quality=_quality(r),
        quality_numbers=r.choice("quality", "numbers", QUALITY_NUMBERS, "opc_da"),
        no_data=frozenset(w.strip().casefold() for w in [*NO_DATA, *r.words("quality", "no_data", ())]),
        units=r.mapping("units", lambda v: isinstance(v, str), "a unit"),
        tags=r.mapping("tags", lambda v: isinstance(v, str), "a point_id"),
        ignore=frozenset(r.words("ignore", "tags", ())),
        kinds=_kinds(r) if kind == "events" else {},
        ignore_kinds=frozenset(w.strip().casefold() for w in r.words("ignore", "kinds", ())),
        places=r.mapping("places", lambda v: isinstance(v, str), "an id of the register") if kind == "events" else {},
        ranges={k: (float(v[0]), float(v[1])) for k, v in r.mapping("ranges", is_range, "[lowest, highest]").items()},
        headers=_headers(r, kind),
        tag_line=r.count("tag", "line", 0, 0) if kind == "per_tag" else 0,
        tag_pattern=_tag_pattern(r) if kind == "per_tag" else "",
        values=r.mapping("values", lambda v: isinstance(v, str), "what to put behind the tag")
        if kind == "route"
        else {},
        lines=r.lines,
    )


def _columns(r: Keys, kind: str) -> dict[str, str | int]:
    needed, possible = READER_COLUMNS.get(kind, ((), ()))
    given = r.mapping("columns", is_column, "a header name, or a position counted from 1")
    for role in needed:
        if role not in given:
            r.fault("columns", role, "", f"the column that holds the {role}")
    if kind == "route" and ("value" in given) == r.has("values"):
        r.fault("columns", "value", given.get("value", ""), "the column that holds the value, or a section [values]")
    for role in given:
        if kind in READER_COLUMNS and role not in needed + possible:
            r.fault("columns", role, given[role], f"one of {', '.join(needed + possible)} for reader {kind}")
    return given


def _kinds(r: Keys) -> dict[str, str]:
    found = r.mapping("kinds", is_kind, "one of " + ", ".join(EVENT_KINDS))
    return {word.strip().casefold(): kind for word, kind in found.items()}


def _headers(r: Keys, kind: str) -> Headers:
    if kind not in ("wide", "wide_headers"):
        return Headers(0, 0, 0, "", "")
    several = kind == "wide_headers"
    headers = Headers(
        r.count("headers", "tag", 1, 1) if several else 0,
        r.count("headers", "unit", 0, 0) if several else 0,
        r.count("headers", "description", 0, 0) if several else 0,
        r.choice("headers", "unit_marks", ("", "[]", "()"), ""),
        r.text("headers", "quality_suffix", "", bool, "what follows the tag in the name of its quality column"),
    )
    if several and headers.tag in (headers.unit, headers.description):
        r.fault("headers", "tag", headers.tag, "a line of its own")
    return headers


def _tag_pattern(r: Keys) -> str:
    return r.text("tag", "pattern", None, names_tag, "a regular expression with a group (?P<tag>...)")


def _quality(r: Keys) -> dict[str, str]:
    words: dict[str, str] = {}
    for quality in QUALITIES:
        for word in (*r.words("quality", quality, ()), quality):
            key = word.strip().casefold()
            if words.setdefault(key, quality) != quality and key not in QUALITIES:
                r.fault("quality", quality, word, f"a word that is not also under {words[key]}")
    return words


def _zone(r: Keys) -> ZoneInfo | None:
    name = r.text("format", "zone", "site", lambda s: bool(s), "site, UTC or an IANA zone name")
    if name == "site":
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        r.fault("format", "zone", name, "site, UTC or an IANA zone name")
        return None
