"""Exports of one file per tag: long lines without a tag column; file name or a line of the header names the tag."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import pyarrow as pa

from condlube.acquisition.blocks import Unreadable
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.readers.header import decode
from condlube.acquisition.readers.long import Long
from condlube.acquisition.rows import Lines


class PerTag(Long):
    """A file of one tag."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        super().__init__(lines, source)
        head = self._columns.head
        if source.tag_line > len(head):
            raise Unreadable(f"[tag] line is {source.tag_line}, but the header ends on line {len(head)}")
        where = decode(head[source.tag_line - 1], self.encoding) if source.tag_line else lines.name
        found = re.search(source.tag_pattern, where)
        if not found or not (found["tag"] or "").strip():
            raise Unreadable(f"no tag by the pattern {source.tag_pattern!r} in {where!r}")
        self._tag = found["tag"].strip()
        unit = (found.groupdict().get("unit") or "").strip()
        self.header_units = {self._tag: unit} if unit else {}

    def _tags(self, column: Mapping[str, pa.ChunkedArray], count: int) -> pa.Array:
        names = pa.array([self._tag.encode(self.encoding, "replace")], pa.binary())
        return pa.DictionaryArray.from_arrays(np.zeros(count, np.int32), names)
