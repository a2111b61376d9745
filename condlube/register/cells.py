"""The text of one spreadsheet cell to a value, by the type that the schema gives its column."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from condlube.register.limits import LIMITS, YEARS
from condlube.register.near import one_of
from condlube.schema.columns import Column

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})([T ]00:00(:00)?)?", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_BOOLEANS = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
_ANY = (-1e12, 1e12)
_NOON = time(12)


@dataclass(frozen=True)
class Wrong:
    """The cell could not be read; ``expected`` says what it may hold."""

    expected: str


def decimal_mark(texts: Iterable[str], usual: str = "") -> str:
    """The decimal mark that the numbers of a file agree on: ``usual`` when none tells, empty when they disagree.

    A number such as 1,500 or 1.500 tells nothing: it may be one and a half or fifteen hundred.
    """
    marks = set()
    for text in texts:
        text = text.strip()
        if ("," in text or "." in text) and _NUMBER.fullmatch(text) and not _THOUSANDS.fullmatch(text):
            marks.add("," if "," in text else ".")
    return marks.pop() if len(marks) == 1 else "" if marks else usual


def reader(column: Column, mark: str, zone: ZoneInfo) -> Callable[[str], Any]:
    """Function from the text of a cell to its value: None for an empty cell, ``Wrong`` for one that cannot be read.

    ``mark`` is the file's decimal mark, ``zone`` that of times without an offset.
    """
    parse = _parser(column, mark, zone)
    return lambda text: parse(text) if (text := text.strip()) else None


def _parser(column: Column, mark: str, zone: ZoneInfo) -> Callable[[str], Any]:
    if column.choices:
        return partial(_choice, words={_word(choice): choice for choice in column.choices})
    if column.type == "float":
        low, high = LIMITS.get(column.name, _ANY)
        unit = "" if column.unit in ("", "1", "canonical", "as read") else " " + column.unit
        return partial(_number, mark=mark, low=low, high=high, unit=unit)
    if column.type == "time":
        return partial(_time, zone=zone)
    return {"bool": _boolean, "date": _date, "str": str if column.name == "note" else _label}[column.type]


def _choice(text: str, words: dict[str, str]) -> str | Wrong:
    return words.get(_word(text)) or Wrong(one_of(text, words.values()))


def _boolean(text: str) -> bool | Wrong:
    return _BOOLEANS.get(text.casefold(), Wrong("yes or no"))


def _word(text: str) -> str:
    return re.sub(r"[\s_-]+", "_", text.casefold())


def _label(text: str) -> str | Wrong:
    return text if text.isprintable() else Wrong("text on one line, without control characters")


def _number(text: str, mark: str, low: float, high: float, unit: str) -> float | Wrong:
    wanted = f"a number from {low:g} to {high:g}{unit}"
    if not _NUMBER.fullmatch(text):
        return Wrong(wanted)
    doubtful = _THOUSANDS.fullmatch(text)
    if doubtful and doubtful[1] != mark:
        digits = text.replace(doubtful[1], "")
        return Wrong(f"{wanted}, its meaning plain: {digits} or {text.replace(doubtful[1], '.')}0")
    value = float(text.replace(",", "."))
    return value if low <= value <= high else Wrong(wanted)


def _date(text: str) -> date | Wrong:
    wanted = f"a date as 2024-06-01, from {YEARS[0]} to {YEARS[1]}"
    found = _DATE.fullmatch(text)
    try:
        day = date.fromisoformat(found[1]) if found else None
    except ValueError:
        day = None
    return day if day and YEARS[0] <= day.year <= YEARS[1] else Wrong(wanted)


def _time(text: str, zone: ZoneInfo) -> datetime | Wrong:
    """An instant in UTC. Without an offset it is local; without a time of day it is local noon."""
    wanted = f"a time as 2024-06-01 13:30 ({zone.key} unless an offset is given), from {YEARS[0]} to {YEARS[1]}"
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return Wrong(wanted)
    if not YEARS[0] <= moment.year <= YEARS[1] or not _DAY.match(text):
        return Wrong(wanted)
    if _DAY.fullmatch(text):
        moment = datetime.combine(moment.date(), _NOON)
    if moment.tzinfo is not None:
        return moment.astimezone(UTC)
    instant = moment.replace(tzinfo=zone).astimezone(UTC)
    if instant.astimezone(zone).replace(tzinfo=None) != moment:
        return Wrong(f"a local time that exists: clocks in {zone.key} were put forward over it")
    return instant
