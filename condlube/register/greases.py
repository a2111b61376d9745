"""The greases file."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from condlube.register.model import Text
from condlube.register.rules import GREASE_RULES, apply
from condlube.register.sheet import Sheet, empty_sheet, read_sheet, require, unique
from condlube.schema.tables import TABLES

COLUMNS = TABLES["greases"].columns
REQUIRED = ("grease_id",)


def read_greases(source: Text | None, zone: ZoneInfo) -> Sheet:
    """Greases as given: nothing is assumed about a grease."""
    if source is None:
        return empty_sheet()
    sheet = read_sheet(source, COLUMNS, REQUIRED, zone)
    require(sheet, REQUIRED)
    unique(sheet, "grease_id")
    apply(GREASE_RULES, sheet)
    return sheet
