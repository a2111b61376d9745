"""Rows of a source -> readings: tag to point, local time to UTC, unit to canonical, and what forbids it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa

from condlube.acquisition.clock import to_local, to_utc
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.reasons import CODE
from condlube.acquisition.rows import Rows
from condlube.acquisition.tags import IGNORED, UNDECODABLE, UNKNOWN, TagIndex, scale
from condlube.acquisition.text import strings
from condlube.schema.nights import midnight

# A reading may be this much ahead of the clock here, for clocks are never quite alike.
AHEAD = timedelta(minutes=5)
NOT_LOCAL = np.iinfo(np.int64).min
_DAY_US = 86_400_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

# time: UTC microseconds; point: row of the points table; tag: position in TagIndex.names; quality: index of QUALITIES.
# 32 bytes, which NumPy moves about faster than any odd size.
READING = np.dtype(
    [("time", "<i8"), ("value", "<f8"), ("point", "<i4"), ("tag", "<i4"), ("line", "<i4"), ("quality", "i1")],
    align=True,
)


def joined(parts: Sequence[np.ndarray]) -> np.ndarray:
    """READING arrays as one, none of no parts: bytes are moved several times faster than field by field."""
    return np.concatenate([np.empty(0, np.uint8), *(part.view(np.uint8) for part in parts)]).view(READING)


@dataclass(frozen=True)
class Normal:
    """``readings`` (READING, time in UTC microseconds) of the rows whose ``problem`` is 0.

    ``local_us`` are their local times, NOT_LOCAL where the row carried UTC, None where all did; ``twice`` marks local
    times that were twice, of which the first is given in ``readings``.
    """

    readings: np.ndarray
    problem: np.ndarray
    local_us: np.ndarray | None
    twice: np.ndarray


class Normaliser:
    """What is the same for all rows of a file: the definition, the tags, the zones and the clock."""

    def __init__(self, source: SourceDefinition, index: TagIndex, site_zone: ZoneInfo, now: datetime) -> None:
        form = source.format
        self.zone = form.zone or site_zone
        self.shift_us = round(form.interval_min * 60e6) if form.stamp == "end" else 0
        self.latest_us = us_of(now + AHEAD)
        self._earliest_us = us_of(midnight(form.earliest, self.zone))
        self._span_us = form.span_days * _DAY_US
        self._middle_us: int | None = None
        self._index = index
        self._site_zone = site_zone

    def __call__(self, rows: Rows, encoding: str) -> Normal:
        code = self._index.codes(rows.tag, encoding)
        problem = _with_tag_problems(code, rows.problem)
        kept = np.flatnonzero(problem == 0) if problem.any() else None

        def pick(values: np.ndarray) -> np.ndarray:
            return values if kept is None else values[kept]

        time, local, missing, twice = self._utc(pick(rows.times.us), pick(rows.times.zoned))
        found = np.zeros(len(time), np.int8)
        _note(found, missing, "missing_hour")
        _note(found, time < self._earliest_us, "too_old")
        _note(found, time > self.latest_us, "future")
        self._note_jumps(found, time)
        if self.shift_us:
            time = time - self.shift_us
        binding = self._bind(pick(code), time, found)
        factor, offset = self._index.factor[binding], self._index.offset[binding]
        if rows.unit is not None:
            factor, offset = self._line_units(pick(rows.unit.to_numpy(zero_copy_only=False)), encoding, binding)
        _note(found, np.isnan(factor), "unit_unknown")
        value = pick(rows.value) * factor + offset
        _note(found, (value < self._index.low[binding]) | (value > self._index.high[binding]), "out_of_range")
        good = slice(None) if not found.any() else found == 0
        if kept is None:
            problem = found
        else:
            problem[kept] = found
        readings = np.empty(int((found == 0).sum()), READING)
        readings["point"] = self._index.point[binding[good]]
        readings["tag"] = pick(code)[good]
        readings["time"] = time[good]
        readings["value"] = value[good]
        readings["quality"] = pick(rows.quality)[good]
        readings["line"] = pick(rows.line)[good]
        return Normal(readings, problem, None if local is None else local[good], twice[good])

    def _utc(self, us: np.ndarray, zoned: np.ndarray) -> tuple[np.ndarray, np.ndarray | None, np.ndarray, np.ndarray]:
        """UTC times, local times (None if there are none), and which of these never were and which were twice."""
        if zoned.all():
            nowhere = np.zeros(len(us), bool)
            return us, None, nowhere, nowhere
        utc, missing, twice = to_utc(us, self.zone)
        return np.where(zoned, us, utc), np.where(zoned, NOT_LOCAL, us), missing & ~zoned, twice & ~zoned

    def _note_jumps(self, found: np.ndarray, time: np.ndarray) -> None:
        """Times farther than the declared span from the middle of the first readings of the file."""
        if np.isinf(self._span_us):
            return
        if self._middle_us is None and (found == 0).any():
            self._middle_us = int(np.median(time[found == 0]))
        if self._middle_us is not None:
            _note(found, np.abs(time - self._middle_us) > self._span_us, "clock_jump")

    def _bind(self, code: np.ndarray, time: np.ndarray, found: np.ndarray) -> np.ndarray:
        """Binding of each row; where a tag meant several points, or one for a while, the one valid on its date."""
        index = self._index
        binding: np.ndarray = index.first[code]
        if not index.is_limited.any():
            return binding
        rows = np.flatnonzero(index.is_limited[code])
        day = to_local(time[rows], self._site_zone) // _DAY_US
        valid = np.zeros(len(rows), np.int64)
        for k in range(int(index.count.max())):
            candidate = index.first[code[rows]] + np.minimum(k, index.count[code[rows]] - 1)
            here = (k < index.count[code[rows]]) & (day >= index.from_day[candidate]) & (day <= index.to_day[candidate])
            binding[rows[here]] = candidate[here]
            valid += here
        _note(found, rows[valid == 0], "not_valid")
        _note(found, rows[valid > 1], "ambiguous_tag")
        return binding

    def _line_units(self, unit: np.ndarray, encoding: str, binding: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Factor and offset where each line states its unit; an empty one leaves the unit of the tag."""
        coded = pa.array(unit, pa.binary()).dictionary_encode()
        names = [text.strip() for text in strings(coded.dictionary, encoding).to_pylist()]
        factor, offset = self._index.factor[binding], self._index.offset[binding]
        of_row = coded.indices.to_numpy()
        for k, name in enumerate(names):
            for quantity in np.unique(self._index.quantities) if name else ():
                here = (of_row == k) & (self._index.quantities[binding] == quantity)
                if here.any():
                    factor[here], offset[here] = scale(str(quantity), name)
        return factor, offset


def us_of(instant: datetime) -> int:
    return (instant - _EPOCH) // timedelta(microseconds=1)


def instant_of(us: int) -> datetime:
    return _EPOCH + timedelta(microseconds=us)


def _with_tag_problems(code: np.ndarray, problem: np.ndarray) -> np.ndarray:
    if code.min(initial=0) >= 0:
        return problem.copy() if problem.any() else problem
    problem = problem.copy()
    for value, reason in ((UNKNOWN, "unknown_tag"), (IGNORED, "ignored_tag"), (UNDECODABLE, "encoding")):
        problem[(code == value) & (problem != CODE["header_repeated"])] = CODE[reason]
    return problem


def _note(found: np.ndarray, where: np.ndarray, reason: str) -> None:
    """Give ``reason`` to the rows ``where`` (mask or positions) that have none yet."""
    rows = np.flatnonzero(where) if where.dtype == bool else where
    if len(rows):
        found[rows[found[rows] == 0]] = CODE[reason]
