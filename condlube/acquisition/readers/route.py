"""Route readings: one line per point and visit, with one or several values, the person, and a remark.

As in a wide file the lines counted are the cells that hold a value. Remarks may run over several lines of text.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.blocks import Block, Unreadable
from condlube.acquisition.cells import Cells, parse
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.readers.header import position, positions
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.readers.records import joined
from condlube.acquisition.reasons import CODE, ROLE
from condlube.acquisition.rows import Lines, Rows, first_problem, qualities, values
from condlube.acquisition.text import strings


class Route:
    """A route file. The tag is the text of the tag column; with [values] the suffix of each value column follows it."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        header_line = source.format.header_line
        if not header_line:
            raise Unreadable("a route file needs a header line: set header_line in [format]")
        self.encoding = lines.encoding
        self.header_units: dict[str, str] = {}
        self._source = source
        self._columns = Columns(lines, source, header_line)
        names = self._columns.names(header_line)
        self._count = len(names)
        self._at = positions(source.columns, names)
        suffixes = {self._at["value"]: ""} if "value" in self._at else {}
        self._suffixes = suffixes or {position("value", name, names): tail for name, tail in source.values.items()}
        self._value_names = {tail: names[k] for k, tail in self._suffixes.items()}

    def rows(self, block: Block) -> Rows:
        block = joined(block, self._source.format, self.encoding, self._count)
        used = {*self._at.values(), *self._suffixes}
        types = [pa.binary() if k in used else None for k in range(self._count)]
        for k, time_type in self._columns.time_types(self._at, self._columns.sample(block)).items():
            types[k] = time_type
        cells = parse(block, self._columns.dialect, types)
        height = len(cells.line)
        times, time_problem = self._columns.times(cells, self._at)
        self._columns.mark_header(block, cells, time_problem)
        value, problem = np.empty((len(self._suffixes), height)), np.zeros((len(self._suffixes), height), np.int8)
        for k, place in enumerate(self._suffixes):
            value[k], problem[k] = values(cells.columns[place], self._source, self.encoding)
        several = len(self._suffixes) > 1
        filled = np.flatnonzero(problem != CODE["value_empty"]) if several else np.arange(height)
        row = filled % max(height, 1)
        quality = qualities(self._of(cells, "quality"), height, self._source, self.encoding)[row]
        unit = self._of(cells, "unit")
        return Rows(
            block=block,
            line=cells.line[row],
            tag=self._tags(cells).take(pa.array(filled)),
            times=times.take(row),
            value=value.ravel()[filled],
            quality=quality,
            problem=first_problem(time_problem[row], problem.ravel()[filled], quality),
            broken=cells.broken,
            broken_reason=cells.reason,
            empty=value.size - len(filled),
            unit=None if unit is None else unit.combine_chunks().take(pa.array(row)),
            remarks=self._remarks(cells),
        )

    def field(self, reason: str, tag: str) -> str:
        role = ROLE.get(reason, "")
        if role == "value":
            tails = [tail for tail in self._value_names if tag.endswith(tail)]
            return self._value_names[max(tails, key=len)] if tails else ""
        return str(self._source.columns.get(role, ""))

    def raw(self, line: str, field: str) -> str:
        return line

    def _of(self, cells: Cells, role: str) -> pa.ChunkedArray | None:
        return cells.columns[self._at[role]] if role in self._at else None

    def _tags(self, cells: Cells) -> pa.Array:
        """Tags of all value columns, one column after another."""
        text = pc.utf8_trim_whitespace(strings(cells.columns[self._at["tag"]].combine_chunks(), self.encoding))
        parts = [pc.binary_join_element_wise(text, tail, "") for tail in self._suffixes.values()]
        tags = pa.concat_arrays(parts)
        if self.encoding == "utf-8":
            return tags.cast(pa.binary())
        return pa.array([tag.encode(self.encoding, "replace") for tag in tags.to_pylist()], pa.binary())

    def _remarks(self, cells: Cells) -> dict[int, tuple[str, str]]:
        """Line -> person and remark, where there is a remark."""
        remark, person = self._of(cells, "remark"), self._of(cells, "person")
        if remark is None:
            return {}
        notes = strings(remark.combine_chunks(), self.encoding).to_pylist()
        people = [""] * len(notes) if person is None else strings(person.combine_chunks(), self.encoding).to_pylist()
        said = zip(cells.line.tolist(), people, notes, strict=True)
        return {line: (who.strip(), note.strip()) for line, who, note in said if note.strip()}
