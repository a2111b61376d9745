"""Wide exports with several header lines: tags, units, descriptions."""

from __future__ import annotations

from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.readers.layout import Columns
from condlube.acquisition.readers.wide import Wide
from condlube.acquisition.rows import Lines


class WideHeaders(Wide):
    """A wide file whose data begin after the last of its header lines."""

    def __init__(self, lines: Lines, source: SourceDefinition) -> None:
        headers = source.headers
        columns = Columns(lines, source, max(headers.tag, headers.unit, headers.description))
        self._start(columns, headers.tag)
        if headers.unit:
            units = [unit.strip() for unit in columns.names(headers.unit)]
            self.header_units |= {tag: unit for tag, unit in zip(self._names, units, strict=False) if unit}
