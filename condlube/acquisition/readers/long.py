"""Long exports: one reading a line, with time, tag, value and often quality."""

from __future__ import annotations

from collections.abc import Mapping

import pyarrow as pa

from condlube.acquisition.blocks import Block
from condlube.acquisition.cells import Types, parse
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.readers.header import positions
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.reasons import ROLE
from condlube.acquisition.rows import Lines, Rows, first_problem, qualities, values


class Long:
    """A long file. Its lines are those after the header that are not blank."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        header_line = source.format.header_line
        self.encoding = lines.encoding
        self.header_units: dict[str, str] = {}
        self._source = source
        self._columns = Columns(lines, source, header_line)
        self._count = 0
        if header_line:
            self._place(self._columns.names(header_line))

    def rows(self, block: Block) -> Rows:
        sample = self._columns.sample(block)
        if not self._count:
            self._place([""] * len(sample))
        cells = parse(block, self._columns.dialect, self._types(sample))
        column = {role: cells.columns[k] for role, k in self._at.items()}
        times, time_problem = self._columns.times(cells, self._at)
        self._columns.mark_header(block, cells, time_problem)
        value, value_problem = values(column["value"], self._source, self.encoding)
        quality = qualities(column.get("quality"), len(value), self._source, self.encoding)
        return Rows(
            block=block,
            line=cells.line,
            tag=self._tags(column, len(value)),
            times=times,
            value=value,
            quality=quality,
            problem=first_problem(time_problem, value_problem, quality),
            broken=cells.broken,
            broken_reason=cells.reason,
            unit=column["unit"].combine_chunks() if "unit" in column else None,
        )

    def field(self, reason: str, tag: str) -> str:
        return str(self._source.columns.get(ROLE.get(reason, ""), ""))

    def raw(self, line: str, field: str) -> str:
        return line

    def _tags(self, column: Mapping[str, pa.ChunkedArray], count: int) -> pa.Array | pa.ChunkedArray:
        return column["tag"]

    def _place(self, names: list[str]) -> None:
        self._count = len(names)
        self._at = positions(self._source.columns, names)

    def _types(self, sample: list[str]) -> Types:
        types = [pa.binary() if k in self._at.values() else None for k in range(self._count)]
        if not self._source.format.thousands:
            types[self._at["value"]] = pa.float64()
        for k, time_type in self._columns.time_types(self._at, sample).items():
            types[k] = time_type
        return types
