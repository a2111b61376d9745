"""Wide exports: one line a time, one column a tag.

A line of a wide file, as it is counted, is a cell that holds something: times tags, less the empty cells, which only
say that there was nothing to report. A row that cannot be split into its cells counts as one line.
"""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa

from condlube.acquisition.blocks import Block, Unreadable
from condlube.acquisition.cells import Cells, Types, parse
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.quality import GOOD
from condlube.acquisition.readers.header import positions, split
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.reasons import CODE, ROLE
from condlube.acquisition.rows import Lines, Rows, first_problem, qualities, values


class Wide:
    """A wide file; tags are the names of all columns but those of the time and of qualities."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        header_line = source.format.header_line
        if not header_line:
            raise Unreadable("a wide file needs a header line with the tags: set header_line in [format]")
        self._start(Columns(lines, source, header_line), header_line)

    def _start(self, columns: Columns, tag_line: int) -> None:
        self._columns = columns
        self._source = columns.source
        self.encoding = columns.encoding
        names = columns.names(tag_line)
        self._at = positions(self._source.columns, names)
        self._time_name = names[self._at["time"]]
        found = [_split_unit(name, self._source.headers.unit_marks) for name in names]
        self._names = [tag for tag, _ in found]
        self.header_units = {tag: unit for tag, unit in found if unit}
        others = [k for k in range(len(names)) if k not in self._at.values()]
        self._quality_of = self._quality_columns(others)
        self._cells = [k for k in others if k not in self._quality_of.values()]
        self._tags = pa.array([self._names[k].encode(self.encoding, "replace") for k in self._cells], pa.binary())

    def rows(self, block: Block) -> Rows:
        cells = parse(block, self._columns.dialect, self._types(self._columns.sample(block)))
        times, time_problem = self._columns.times(cells, self._at)
        self._columns.mark_header(block, cells, time_problem)
        self._refuse_other_header(block, cells.line[time_problem == CODE["time_unreadable"]])
        shape = (len(self._cells), len(cells.line))
        value, problem = np.empty(shape), np.empty(shape, np.int8)
        for k, column in enumerate(self._cells):
            value[k], problem[k] = values(cells.columns[column], self._source, self.encoding)
        is_filled = problem != CODE["value_empty"]
        filled = np.flatnonzero(is_filled)
        tag = np.repeat(np.arange(shape[0], dtype=np.int32), is_filled.sum(axis=1))
        row = filled - tag * np.int64(shape[1])
        quality = self._qualities(cells, shape).ravel()[filled]
        return Rows(
            block=block,
            line=cells.line[row],
            tag=pa.DictionaryArray.from_arrays(tag, self._tags),
            times=times.take(row),
            value=value.ravel()[filled],
            quality=quality,
            problem=first_problem(time_problem[row], problem.ravel()[filled], quality),
            broken=cells.broken,
            broken_reason=cells.reason,
            empty=value.size - len(filled),
        )

    def field(self, reason: str, tag: str) -> str:
        role = ROLE.get(reason, "")
        if role == "quality":
            return tag + self._source.headers.quality_suffix
        return str(self._source.columns[role]) if role == "time" else tag if role else ""

    def raw(self, line: str, field: str) -> str:
        """Of a whole row its line; of a cell its time, its text and its quality, as in a wide file of this one tag."""
        places = {k for k in [*self._cells, *self._quality_of.values()] if self._names[k] == field}
        if not places:
            return line
        fields = split(line, self._source.format)
        pairs = {k for pair in self._quality_of.items() if places & set(pair) for k in pair}
        kept = [k for k in sorted({*self._at.values(), *places, *pairs}) if k < len(fields)]
        return self._source.format.delimiter.join(fields[k] for k in kept)

    def _refuse_other_header(self, block: Block, unreadable: np.ndarray) -> None:
        """Refuse a file in which another header follows: what comes after it would go to the wrong tags."""
        for number, line in zip(unreadable.tolist(), block.texts(unreadable), strict=True):
            fields = split(line.decode(self.encoding, "replace"), self._source.format)
            if self._time_name.strip() and fields[self._at["time"]].strip() == self._time_name.strip():
                raise Unreadable(
                    f"line {number} is a header with other columns than the first: files were joined; take the file "
                    "apart there"
                )

    def _quality_columns(self, others: list[int]) -> dict[int, int]:
        """Value column -> its quality column."""
        suffix = self._source.headers.quality_suffix
        place = {self._names[k]: k for k in others}
        stems = {k: place.get(self._names[k].removesuffix(suffix)) for k in others if suffix}
        return {value: k for k, value in stems.items() if value is not None and value != k}

    def _qualities(self, cells: Cells, shape: tuple[int, int]) -> np.ndarray:
        quality = np.full(shape, GOOD, np.int8)
        for k, column in enumerate(self._cells):
            if column in self._quality_of:
                given = cells.columns[self._quality_of[column]]
                quality[k] = qualities(given, shape[1], self._source, self.encoding)
        return quality

    def _types(self, sample: list[str]) -> Types:
        number = pa.binary() if self._source.format.thousands else pa.float64()
        types: list[pa.DataType | None] = [number] * len(self._names)
        for k in self._quality_of.values():
            types[k] = pa.binary()
        for k, time_type in self._columns.time_types(self._at, sample).items():
            types[k] = time_type
        return types


def _split_unit(name: str, marks: str) -> tuple[str, str]:
    """Tag and unit of a column name such as "TAG [unit]"; without marks all of it is the tag."""
    if marks and (found := re.fullmatch(rf"(.*\S)\s*{re.escape(marks[0])}(.*){re.escape(marks[1])}\s*", name)):
        return found[1].strip(), found[2].strip()
    return name.strip(), ""
