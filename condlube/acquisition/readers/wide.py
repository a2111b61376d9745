"""Wide exports: one line a time, one column a tag.

A line of a wide file, as it is counted, is a cell that holds something: times tags, less the empty cells, which only
say that there was nothing to report. A row that cannot be split into its cells counts as one line.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from condlube.acquisition.blocks import Block, Unreadable
from condlube.acquisition.cells import Types, parse
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.quality import GOOD
from condlube.acquisition.readers.header import positions, split
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.reasons import CODE, ROLE
from condlube.acquisition.rows import Lines, Rows, first_problem, values


class Wide:
    """A wide file; tags are the names of all columns but the time's."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        self._columns = Columns(lines, source)
        self.encoding = lines.encoding
        self.header_units: dict[str, str] = {}
        self._source = source
        if not source.format.header_line:
            raise Unreadable("a wide file needs a header line with the tags: set header_line in [format]")
        self._set_names(self._columns.names())

    def _set_names(self, names: list[str]) -> None:
        self._at = positions(self._source.columns, names)
        self._cells = [k for k in range(len(names)) if k not in self._at.values()]
        self._names = [name.strip() for name in names]
        self._tags = pa.array([self._names[k].encode(self.encoding, "replace") for k in self._cells], pa.binary())

    def rows(self, block: Block) -> Rows:
        cells = parse(block, self._columns.dialect, self._types(self._columns.sample(block)))
        times, time_problem = self._columns.times(cells, self._at)
        self._columns.mark_header(block, cells, time_problem)
        shape = (len(self._cells), len(cells.line))
        value, problem = np.empty(shape), np.zeros(shape, np.int64)
        for k, column in enumerate(self._cells):
            value[k], problem[k] = values(cells.columns[column], self._source, self.encoding)
        filled = np.flatnonzero(problem != CODE["value_empty"])
        tag, row = np.divmod(filled, max(shape[1], 1))
        quality = np.full(len(filled), GOOD, np.int8)
        return Rows(
            line=cells.line[row],
            tag=pa.DictionaryArray.from_arrays(tag.astype(np.int32), self._tags),
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
        return str(self._source.columns[role]) if role == "time" else tag if role else ""

    def raw(self, line: str, field: str) -> str:
        """Of a whole row its line; of a cell its time and its text, as in a wide file of this one tag."""
        if field not in self._names:
            return line
        fields = split(line, self._source.format)
        kept = [k for k in sorted([*self._at.values(), self._names.index(field)]) if k < len(fields)]
        return self._source.format.delimiter.join(fields[k] for k in kept)

    def _types(self, sample: list[str]) -> Types:
        number = pa.binary() if self._source.format.thousands else pa.float64()
        types: list[pa.DataType | None] = [number] * len(self._names)
        for k, time_type in self._columns.time_types(self._at, sample).items():
            types[k] = time_type
        return types
