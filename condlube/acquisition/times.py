"""Times as exports write them -> microseconds, exactly: no date that the calendar does not have is let through."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.numbers import to_float
from condlube.acquisition.text import strings
from condlube.errors import InvalidArgument

_DIRECTIVES = {
    "Y": r"(?P<Y>\d{4})", "y": r"(?P<y>\d{2})", "m": r"(?P<m>\d{1,2})", "d": r"(?P<d>\d{1,2})",
    "H": r"(?P<H>\d{1,2})", "I": r"(?P<I>\d{1,2})", "M": r"(?P<M>\d{1,2})", "S": r"(?P<S>\d{1,2})",
    "f": r"(?P<f>\d{1,9})", "p": r"(?P<p>[AaPp]\.?[Mm]\.?)", "b": r"(?P<b>[A-Za-z]{3})", "B": r"(?P<b>[A-Za-z]{3,9})",
    "z": r"(?P<z>Z|[+-]\d{2}:?\d{2})", "%": "%",
}  # fmt: skip
_ISO = (
    r"^(?P<Y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})"
    r"(?:[T ](?P<H>\d{2})(?::(?P<M>\d{2})(?::(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?)?"
    r" ?(?P<z>Z|[+-]\d{2}(?::?\d{2})?)?)?$"
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_US = 86_400_000_000
_LOWEST_US, _HIGHEST_US = -25_567 * _DAY_US, 84_006 * _DAY_US
_SERIAL_ZERO_DAYS = -25_569  # 1899-12-30, day 0 of spreadsheet serial numbers, before 1970-01-01


@dataclass(frozen=True)
class Times:
    """Microseconds since 1970 in the clock of the source; ``zoned`` where the text itself gave UTC or an offset."""

    us: np.ndarray
    readable: np.ndarray
    zoned: np.ndarray

    def within_bounds(self) -> Times:
        """The same, but outside the years 1900 to 2200 nothing is readable."""
        outside = (self.us < _LOWEST_US) | (self.us > _HIGHEST_US)
        return Times(self.us, self.readable & ~outside, self.zoned) if outside.any() else self

    def take(self, index: np.ndarray) -> Times:
        return Times(self.us[index], self.readable[index], self.zoned[index])


@cache
def pattern_of(time_format: str) -> str:
    """Regular expression of a strptime-like pattern. Raises ``InvalidArgument`` if it cannot name an instant."""
    expected = "a pattern with year, month and day out of %Y %y %m %b %d %H %I %M %S %f %p %z"
    parts = re.split(r"%(.)", time_format)
    names = parts[1::2]
    if any(name not in _DIRECTIVES for name in names) or len(set(names)) != len(names) or time_format.endswith("%"):
        raise InvalidArgument("time_format", time_format, expected)
    date = bool({"Y", "y"} & set(names)) and bool({"m", "b", "B"} & set(names)) and "d" in names
    if not date or (("I" in names) != ("p" in names)):
        raise InvalidArgument("time_format", time_format, expected)
    pieces = [re.escape(part) if k % 2 == 0 else _DIRECTIVES[part] for k, part in enumerate(parts)]
    return "^" + "".join(pieces) + "$"


def arrow_type(time_format: str, sample: bytes) -> pa.DataType:
    """The type as which a column of such times is read fastest; ``sample`` is the first time of the file."""
    if time_format in ("epoch_s", "epoch_ms", "serial"):
        return pa.float64()
    if time_format != "iso":
        return pa.binary()
    zoned = re.search(rb"(Z|[+-]\d{2}(:?\d{2})?)$", sample.strip()[10:])
    return pa.timestamp("ns", "UTC" if zoned else None)


def to_times(column: pa.ChunkedArray, time_format: str, decimal: str, encoding: str) -> Times:
    """Times of a column that was read typed or as binary; null and what does not fit is not readable."""
    if pa.types.is_timestamp(column.type):
        return _from_typed(column).within_bounds()
    if time_format in ("epoch_s", "epoch_ms", "serial"):
        return _from_numbers(to_float(column, decimal, "", encoding), time_format)
    coded = column.combine_chunks().fill_null(b"").dictionary_encode()
    unique = pc.utf8_trim_whitespace(strings(coded.dictionary, encoding))
    times = _from_text(unique, _ISO if time_format == "iso" else pattern_of(time_format)).within_bounds()
    return times.take(coded.indices.to_numpy())


def _from_typed(column: pa.ChunkedArray) -> Times:
    readable = column.is_valid().to_numpy() if column.null_count else np.ones(len(column), bool)
    raw = column.cast(pa.int64())
    us = (raw.fill_null(0) if column.null_count else raw).to_numpy() // 1000
    return Times(us, readable, np.full(len(us), column.type.tz is not None))


def _from_numbers(number: np.ndarray, time_format: str) -> Times:
    scale = {"epoch_s": 1e6, "epoch_ms": 1e3, "serial": float(_DAY_US)}[time_format]
    shift = _SERIAL_ZERO_DAYS * _DAY_US if time_format == "serial" else 0
    with np.errstate(invalid="ignore", over="ignore"):
        scaled = number * scale + shift
        readable = (scaled >= _LOWEST_US) & (scaled <= _HIGHEST_US)
    us = np.rint(np.where(readable, scaled, 0.0)).astype(np.int64)
    if time_format == "serial":
        us = (us + 500) // 1000 * 1000  # serial numbers carry milliseconds at best
    return Times(us, readable, np.full(len(us), time_format != "serial"))


def _from_text(text: pa.Array, pattern: str) -> Times:
    groups = pc.extract_regex(text, pattern)
    readable = groups.is_valid().to_numpy(zero_copy_only=False)
    n = len(text)
    names = {field.name for field in groups.type}

    def part(name: str) -> pa.Array:
        return pc.struct_field(groups, name).fill_null("")

    def number(name: str, absent: int) -> np.ndarray:
        if name not in names:
            return np.full(n, absent, np.int64)
        found = part(name)
        whole: np.ndarray = pc.if_else(pc.equal(found, ""), str(absent), found).cast(pa.int64()).to_numpy()
        return whole

    year = number("Y", 1970)
    if "y" in names:  # the POSIX rule: 69 to 99 are 1969 to 1999
        short = number("y", 70)
        year = short + np.where(short >= 69, 1900, 2000)
    month = _month_of_name(part("b")) if "b" in names else number("m", 1)
    day, hour, minute, second = number("d", 1), number("H", 0), number("M", 0), number("S", 0)
    if "I" in names:
        twelve = number("I", 12)
        afternoon = pc.match_substring_regex(part("p"), "^[Pp]").to_numpy(zero_copy_only=False)
        readable &= (twelve >= 1) & (twelve <= 12)
        hour = twelve % 12 + 12 * afternoon
    readable &= (month >= 1) & (month <= 12) & (hour < 24) & (minute < 60) & (second < 60) & (day >= 1)
    months = ((year - 1970) * 12 + np.clip(month, 1, 12) - 1).astype("datetime64[M]")
    first = months.astype("datetime64[D]").astype(np.int64)
    readable &= day <= (months + 1).astype("datetime64[D]").astype(np.int64) - first
    us = (((first + day - 1) * 24 + hour) * 60 + minute) * 60 + second
    us *= 1_000_000
    if "f" in names:
        us += pc.utf8_slice_codeunits(pc.utf8_rpad(part("f"), 6, "0"), 0, 6).cast(pa.int64()).to_numpy()
    if "z" not in names:
        return Times(us, readable, np.zeros(n, bool))
    offset_us, zoned = _offset(part("z"))
    return Times(us - offset_us, readable & (np.abs(offset_us) < _DAY_US), zoned)


def _month_of_name(name: pa.Array) -> np.ndarray:
    start = pc.utf8_lower(pc.utf8_slice_codeunits(name, 0, 3))
    position: np.ndarray = pc.index_in(start, value_set=pa.array(_MONTHS)).fill_null(-1).to_numpy()
    return position.astype(np.int64) + 1


def _offset(text: pa.Array) -> tuple[np.ndarray, np.ndarray]:
    """Microseconds east of Greenwich and whether there was an offset at all, of "Z", "+hh", "+hhmm" or "+hh:mm"."""
    unique = text.dictionary_encode()
    us = []
    for name in unique.dictionary.to_pylist():
        digits = name[1:].replace(":", "").ljust(4, "0")
        minutes = int(digits[:2]) * 60 + int(digits[2:]) if name not in ("", "Z") else 0
        us.append((-minutes if name.startswith("-") else minutes) * 60_000_000)
    index = unique.indices.to_numpy()
    zoned = np.array([name != "" for name in unique.dictionary.to_pylist()], bool)
    return np.array(us, np.int64)[index], zoned[index]
