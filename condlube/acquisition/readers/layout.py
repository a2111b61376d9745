"""What the named readers share: columns by role, time in one column or in two, the header met again in the data."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.blocks import Block, Unreadable
from condlube.acquisition.cells import Cells, Dialect
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.readers.header import decode, split
from condlube.acquisition.reasons import CODE
from condlube.acquisition.rows import Lines
from condlube.acquisition.times import Times, arrow_type, to_times

# A line longer than this is judged by its begin.
_SAMPLE_BYTES = 1 << 20


class Columns:
    """The layout of one file: how its lines are split, what its header says, where its times stand."""

    def __init__(self, lines: Lines, source: SourceDefinition, header_lines: int) -> None:
        self.source = source
        self.encoding = lines.encoding
        form = source.format
        self.dialect = Dialect(form.delimiter, form.quote, form.decimal)
        self.head = lines.head(header_lines)
        if len(self.head) < header_lines:
            raise Unreadable("the file ends before its header line" if self.head else "the file is empty")

    def names(self, line: int) -> list[str]:
        """Fields of a line of the header, counted from 1."""
        return split(decode(self.head[line - 1], self.encoding), self.source.format)

    def sample(self, block: Block) -> list[str]:
        """Fields of the first line of a block that is not blank; what they look like decides how columns are read."""
        for line in block.data[:_SAMPLE_BYTES].splitlines():
            if line.strip():
                return split(decode(line, self.encoding), self.source.format)
        return []

    def time_types(self, at: Mapping[str, int], sample: list[str]) -> dict[int, pa.DataType]:
        """Types as which the time column, or the date and time columns, are read."""
        if "date" in at:
            return {at["date"]: pa.binary(), at["time"]: pa.binary()}
        text = sample[at["time"]] if at["time"] < len(sample) else ""
        return {at["time"]: arrow_type(self.source.format.time_format, text.encode())}

    def times(self, cells: Cells, at: Mapping[str, int]) -> tuple[Times, np.ndarray]:
        """Times of the rows, and the code of what is wrong with each, 0 if nothing."""
        column = cells.columns[at["time"]]
        if "date" in at:
            column = pa.chunked_array([_joined(cells.columns[at["date"]], column)])
        form = self.source.format
        times = to_times(column, form.time_format, form.decimal, self.encoding)
        problem = np.zeros(len(times.us), np.int8)
        bad = np.flatnonzero(~times.readable)
        if len(bad):
            text = column.take(pa.array(bad))
            empty = text.is_null()
            if pa.types.is_binary(text.type):
                empty = pc.or_(empty, pc.match_substring_regex(text, r"^\s*$"))
            problem[bad] = np.where(empty.to_numpy(), CODE["time_empty"], CODE["time_unreadable"])
        return times, problem

    def mark_header(self, block: Block, cells: Cells, problem: np.ndarray) -> None:
        """Lines whose time is unreadable because they are the header once more get that reason."""
        bad = np.flatnonzero(problem > 0)
        if self.head and len(bad):
            again = [text in self.head for text in block.texts(cells.line[bad])]
            problem[bad[again]] = CODE["header_repeated"]


def _joined(date: pa.ChunkedArray, time: pa.ChunkedArray) -> pa.Array:
    return pc.binary_join_element_wise(date.combine_chunks(), time.combine_chunks(), pa.scalar(b" ", pa.binary()))
