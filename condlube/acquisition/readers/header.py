"""The header of an export: names of the columns, and where each role stands."""

from __future__ import annotations

import csv
from collections.abc import Mapping

from condlube.acquisition.blocks import Unreadable
from condlube.acquisition.definition import Format


def split(line: str, form: Format) -> list[str]:
    """Fields of one line, by the same rules as the data; a line that breaks the rules is parted at every delimiter."""
    if form.quote and form.quote in line:
        try:
            return next(csv.reader([line], delimiter=form.delimiter, quotechar=form.quote), [])
        except csv.Error:
            pass
    return line.split(form.delimiter)


def decode(line: bytes, encoding: str) -> str:
    return line.decode(encoding, "replace")


def position(role: str, column: str | int, names: list[str]) -> int:
    """0-based position of a column given by name or by 1-based position. Raises ``Unreadable``."""
    if isinstance(column, int):
        if column <= len(names):
            return column - 1
        raise Unreadable(f"column {column} is to hold the {role}, but the file has {len(names)} columns")
    found = [k for k, name in enumerate(names) if name.strip() == column.strip()]
    if len(found) == 1:
        return found[0]
    seen = f"{len(found)} columns named {column!r}" if found else f"no column named {column!r}"
    raise Unreadable(f"{seen} to hold the {role}; the header reads: {', '.join(names)[:300]}")


def positions(columns: Mapping[str, str | int], names: list[str]) -> dict[str, int]:
    return {role: position(role, column, names) for role, column in columns.items()}
