"""What the keys of a source definition may hold."""

from __future__ import annotations

import math
import re

from condlube.acquisition.times import pattern_of
from condlube.errors import InvalidArgument
from condlube.schema.tables import TABLES
from condlube.schema.words import EVENT_KINDS

# Columns of the events table that no log brings.
_OWN = ("known_at", "supersedes")
# reader -> columns it needs, columns it may have
READER_COLUMNS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "long": (("time", "tag", "value"), ("date", "quality", "unit")),
    "wide": (("time",), ("date",)),
    "wide_headers": (("time",), ("date",)),
    "per_tag": (("time", "value"), ("date", "quality", "unit")),
    "route": (("time", "tag"), ("date", "value", "quality", "unit", "person", "remark")),
    "events": (("time", "kind"), ("date", *(c for c in TABLES["events"].columns if c not in ("time", "kind", *_OWN)))),
}
STAMPS = ("begin", "end")
QUALITY_NUMBERS = ("opc_da", "opc_ua", "none")
NAMED_FORMATS = ("iso", "epoch_s", "epoch_ms", "serial")


# Words that historians write in place of a number; runs of marks such as ### or -- need not be named. Trade practice,
# no source.
NO_DATA = (
    "bad", "bad input", "no data", "nodata", "no good data", "i/o timeout", "io timeout", "timeout", "comm fail",
    "not connected", "over range", "under range", "shutdown", "out of service", "error", "n/a", "na", "null", "none",
    "nan", "#n/a", "#value!", "#div/0!",
)  # fmt: skip

TIME_FORMAT_EXPECTED = "iso, epoch_s, epoch_ms, serial, or a pattern like %d/%m/%Y %H:%M:%S"


def names_tag(pattern: str) -> bool:
    try:
        return "tag" in re.compile(pattern).groupindex
    except re.error:
        return False


def is_glob(text: str) -> bool:
    return bool(text.strip()) and "\\" not in text


def is_time_format(text: str) -> bool:
    try:
        return text in NAMED_FORMATS or bool(pattern_of(text))
    except InvalidArgument:
        return False


def is_encoding(text: str) -> bool:
    try:
        return isinstance("".encode(text), bytes)
    except (LookupError, ValueError):
        return False


def is_kind(value: object) -> bool:
    return value in EVENT_KINDS


def is_column(value: object) -> bool:
    return (isinstance(value, str) and bool(value)) or (type(value) is int and value >= 1)


def is_range(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) == 2
        and all(type(v) in (int, float) and math.isfinite(v) for v in value)
        and value[0] < value[1]
    )


def key_lines(text: str) -> dict[tuple[str, str], int]:
    """(section, key) -> line number, 1-based."""
    lines: dict[tuple[str, str], int] = {}
    section = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if head := re.match(r"\s*\[([\w.]+)\]", line):
            section = head[1]
            lines[(section, "")] = number
        elif key := re.match(r"""\s*(?:"([^"]+)"|'([^']+)'|([\w-]+))\s*=""", line):
            lines[(section, key[1] or key[2] or key[3])] = number
    return lines
