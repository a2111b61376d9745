"""A CSV file as people keep it in a spreadsheet, read into typed columns."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa

from condlube.errors import Fault
from condlube.register.arrays import arrow_array
from condlube.register.cells import Wrong, decimal_mark, reader
from condlube.register.model import Text
from condlube.register.near import perhaps
from condlube.schema.arrow import arrow_schema
from condlube.schema.columns import COLUMNS
from condlube.schema.tables import TABLES

_DELIMITERS = ",;\t"
_SEPARATOR_NOTE = re.compile(r'\A"?sep=.?"?(?=[\r\n])')  # a first line by which spreadsheets tell the delimiter
_SUGGESTED = 100


@dataclass
class Sheet:
    """Columns of one file: the text and the value of every cell, the line of every row, and what is wrong.

    A column that the file does not have reads as all empty. A cell that could not be read has the value None and its
    text, so that one fault does not draw others after it.
    """

    file: str
    header_line: int
    lines: list[int]
    texts: dict[str, list[str]]
    values: dict[str, list[Any]]
    faults: list[Fault] = field(default_factory=list)
    whole: bool = True
    """False when rows or the key column are lost: what is not in the sheet may then still be in the file."""
    dangling: int = 0

    def __len__(self) -> int:
        return len(self.lines)

    def __getitem__(self, column: str) -> list[Any]:
        if column not in self.values:
            self.values[column] = [None] * len(self)
        return self.values[column]

    def given(self, column: str) -> list[str]:
        """What the file holds in this column; empty where nothing was given."""
        return self.texts.get(column) or [""] * len(self)

    def blame(self, row: int, column: str, expected: str) -> None:
        """Note a fault in one cell."""
        self.faults.append(Fault(self.file, self.lines[row], column, self.given(column)[row], expected))

    def blame_id(self, row: int, column: str, expected: str, known: Collection[str | None]) -> None:
        """Note that an id is none of the ``known`` ones; the nearest is looked for as long as a reader may care."""
        self.dangling += 1
        near = perhaps(self.given(column)[row].strip(), known) if self.dangling <= _SUGGESTED else ""
        self.blame(row, column, expected + near)

    def blame_file(self, column: str, seen: str, expected: str) -> None:
        """Note a fault in the header, or in the file as a whole."""
        self.faults.append(Fault(self.file, self.header_line, column, seen, expected))

    def table(self, name: str) -> pa.Table:
        """The sheet as a schema table, sorted by its key."""
        schema = arrow_schema(name)
        table = pa.table([arrow_array(self[field.name], field.type) for field in schema], schema=schema)
        return table.sort_by([(key, "ascending") for key in TABLES[name].key])


def empty_sheet(whole: bool = True) -> Sheet:
    """The sheet of a file that the site does not have, or (not ``whole``) that could not be read."""
    return Sheet("", 0, [], {}, {}, whole=whole)


def read_sheet(source: Text, columns: Collection[str], required: Collection[str], zone: ZoneInfo) -> Sheet:
    """Read ``source``; its header may name ``columns`` in any order and must name the ``required`` ones."""
    sheet = empty_sheet()
    sheet.file = source.file
    text = _SEPARATOR_NOTE.sub("", source.text.removeprefix("\ufeff"))
    delimiter = _delimiter(text, columns)
    lines, rows = _rows(text, delimiter, sheet)
    if not rows:
        if sheet.whole:
            sheet.blame_file("", "an empty file", "a header line with " + ", ".join(required))
        return sheet
    sheet.header_line, names = lines[0], [_name(cell) for cell in rows[0]]
    wanted = _columns(names, columns, required, sheet)
    sheet.lines = lines[1:]
    sheet.whole = sheet.whole and set(required) <= wanted
    for place, cells in enumerate(_across(rows[1:], len(names), sheet)):
        name = names[place]
        if name in wanted and name not in sheet.texts:
            sheet.texts[name] = cells
        elif not name and (row := next((k for k, cell in enumerate(cells) if cell.strip()), None)) is not None:
            sheet.faults.append(Fault(sheet.file, sheet.lines[row], f"column {place + 1}", cells[row],
                                      "a name for this column in the header"))  # fmt: skip
    _convert(sheet, "." if delimiter == "," else "", zone)
    return sheet


def require(sheet: Sheet, columns: Collection[str]) -> None:
    """Blame every row that leaves one of ``columns`` empty, where the file has the column at all."""
    for column in columns:
        if column in sheet.texts:
            for row, text in enumerate(sheet.texts[column]):
                if not text.strip():
                    sheet.blame(row, column, f"not empty: {COLUMNS[column].meaning}")


def unique(sheet: Sheet, column: str) -> None:
    """Blame every row whose ``column`` repeats that of an earlier row."""
    first: dict[Any, int] = {}
    for row, value in enumerate(sheet[column]):
        if value is not None and (earlier := first.setdefault(value, row)) != row:
            sheet.blame(row, column, f"its own {column}; line {sheet.lines[earlier]} has this one too")


def _rows(text: str, delimiter: str, sheet: Sheet) -> tuple[list[int], list[tuple[str, ...]]]:
    """Every row that is not blank, and the number of the line it begins on."""
    parsed = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines: list[int] = []
    rows: list[tuple[str, ...]] = []
    line = 1
    try:
        for cells in parsed:
            if any(cells) and not "".join(cells).isspace():
                lines.append(line)
                rows.append(tuple(cells))
            line = parsed.line_num + 1
    except csv.Error as error:
        sheet.whole = False
        sheet.faults.append(Fault(sheet.file, line, "", str(error), "quotes that open and close around a whole cell"))
    return lines, rows


def _across(rows: list[tuple[str, ...]], width: int, sheet: Sheet) -> Iterator[list[str]]:
    """The columns of the rows; a row that is longer than the header is at fault, a shorter one is filled up."""
    padded = [cells if len(cells) == width else (cells + ("",) * width)[:width] for cells in rows]
    for line, cells in zip(sheet.lines, rows, strict=True):
        if len(cells) > width and (extra := " ".join(cells[width:]).strip()):
            sheet.faults.append(Fault(sheet.file, line, f"column {width + 1}", extra,
                                      f"at most {width} cells, as in the header; quote a text that holds the "
                                      "delimiter"))  # fmt: skip
    yield from map(list, zip(*padded, strict=True) if padded else [()] * width)


def _delimiter(text: str, columns: Collection[str]) -> str:
    """The delimiter under which the first line names the most known columns."""
    first = next((line for line in text.splitlines() if line.strip(_DELIMITERS + " ")), "")
    return max(_DELIMITERS, key=lambda mark: sum(_name(cell.strip(' "')) in columns for cell in first.split(mark)))


def _name(cell: str) -> str:
    return "_".join(cell.casefold().replace("-", " ").split())


def _columns(names: list[str], columns: Collection[str], required: Collection[str], sheet: Sheet) -> set[str]:
    """The columns to read, after blaming unknown, repeated and missing ones."""
    for place, name in enumerate(names):
        if name and name not in columns:
            known = perhaps(name, columns) or "; known are " + ", ".join(columns)
            sheet.blame_file(name, name, "a known column" + known)
        elif name and name in names[:place]:
            sheet.blame_file(name, f"columns {names.index(name) + 1} and {place + 1}", "each column once")
    for name in required:
        if name not in names:
            sheet.blame_file(name, "no such column", f"a column {name} ({COLUMNS[name].meaning})")
    return set(names) & set(columns)


def _convert(sheet: Sheet, usual_mark: str, zone: ZoneInfo) -> None:
    distinct = {name: set(texts) for name, texts in sheet.texts.items()}
    numbers = (text for name, texts in distinct.items() if COLUMNS[name].type == "float" for text in texts)
    mark = decimal_mark(numbers, usual_mark)
    for name, texts in sheet.texts.items():
        read = reader(COLUMNS[name], mark, zone)
        values = {text: read(text) for text in distinct[name]}
        wrong = {text: value.expected for text, value in values.items() if isinstance(value, Wrong)}
        for row, text in enumerate(texts if wrong else ()):
            if text in wrong:
                sheet.blame(row, name, wrong[text])
        values.update(dict.fromkeys(wrong))
        sheet.values[name] = [values[text] for text in texts]
