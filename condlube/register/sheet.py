"""A CSV file as people keep it in a spreadsheet, read into typed columns."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from condlube.errors import Fault
from condlube.register.cells import Wrong, decimal_mark, reader
from condlube.register.model import Text
from condlube.register.near import perhaps
from condlube.schema.columns import COLUMNS

_DELIMITERS = ",;\t"


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

    def __len__(self) -> int:
        return len(self.lines)

    def __getitem__(self, column: str) -> list[Any]:
        return self.values.setdefault(column, [None] * len(self))

    def given(self, column: str) -> list[str]:
        """What the file holds in this column; empty where nothing was given."""
        return self.texts.setdefault(column, [""] * len(self))

    def blame(self, row: int, column: str, expected: str) -> None:
        """Note a fault in one cell."""
        self.faults.append(Fault(self.file, self.lines[row], column, self.given(column)[row], expected))

    def blame_file(self, column: str, seen: str, expected: str) -> None:
        """Note a fault in the header, or in the file as a whole."""
        self.faults.append(Fault(self.file, self.header_line, column, seen, expected))


def empty_sheet() -> Sheet:
    """The sheet of a file that the site does not have."""
    return Sheet("", 0, [], {}, {})


def read_sheet(source: Text, columns: Collection[str], required: Collection[str], zone: ZoneInfo) -> Sheet:
    """Read ``source``; its header may name ``columns`` in any order and must name the ``required`` ones."""
    sheet = empty_sheet()
    sheet.file = source.file
    text = source.text.removeprefix("\ufeff")
    delimiter = _delimiter(text, columns)
    rows = _rows(text, delimiter, sheet)
    if not rows:
        if not sheet.faults:
            sheet.blame_file("", "an empty file", "a header line with " + ", ".join(required))
        return sheet
    sheet.header_line, header = rows[0]
    names = [_name(cell) for cell in header]
    wanted = _columns(names, columns, required, sheet)
    width = len(names)
    for line, cells in rows[1:]:
        extra = [cell for cell in cells[width:] if cell.strip()]
        if extra:
            sheet.faults.append(Fault(sheet.file, line, f"column {width + 1}", extra[0],
                                      f"at most {width} cells, as in the header; quote a text that holds the "
                                      "delimiter"))  # fmt: skip
    sheet.lines = [line for line, _ in rows[1:]]
    padded = [cells if len(cells) == width else (cells + [""] * width)[:width] for _, cells in rows[1:]]
    across = list(zip(*padded, strict=True)) if padded else [()] * width
    for place, name in enumerate(names):
        if name in wanted and name not in sheet.texts:
            sheet.texts[name] = list(across[place])
        elif not name and (row := next((k for k, cell in enumerate(across[place]) if cell.strip()), None)) is not None:
            sheet.faults.append(Fault(sheet.file, sheet.lines[row], f"column {place + 1}", across[place][row],
                                      "a name for this column in the header"))  # fmt: skip
    _convert(sheet, "." if delimiter == "," else "", zone)
    return sheet


def require(sheet: Sheet, columns: Collection[str]) -> None:
    """Blame every row that leaves one of ``columns`` empty, where the file has the column at all."""
    for column in columns:
        if column in sheet.texts:
            for row, text in enumerate(sheet.texts[column]):
                if not text.strip():
                    sheet.blame(row, column, f"{COLUMNS[column].meaning}: it may not be left empty")


def unique(sheet: Sheet, column: str) -> None:
    """Blame every row whose ``column`` repeats that of an earlier row."""
    first: dict[Any, int] = {}
    for row, value in enumerate(sheet[column]):
        if value is not None and (earlier := first.setdefault(value, row)) != row:
            sheet.blame(row, column, f"its own {column}; line {sheet.lines[earlier]} has this one too")


def _rows(text: str, delimiter: str, sheet: Sheet) -> list[tuple[int, list[str]]]:
    """Every row that is not blank, with the number of the line it begins on."""
    parsed = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for cells in parsed:
            if any(cells) and any(cell.strip() for cell in cells):
                rows.append((line, cells))
            line = parsed.line_num + 1
    except csv.Error as error:
        sheet.faults.append(Fault(sheet.file, line, "", str(error), "quotes that open and close around a whole cell"))
    return rows


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
            sheet.blame_file(name, "no such column", f"a column {name}: {COLUMNS[name].meaning}")
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
