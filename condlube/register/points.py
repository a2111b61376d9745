"""The measuring points file: what each tag measures, and where."""

from __future__ import annotations

from collections import Counter
from datetime import date
from itertools import pairwise
from zoneinfo import ZoneInfo

from condlube.register.model import Text
from condlube.register.rules import POINT_RULES, apply
from condlube.register.sheet import Sheet, empty_sheet, read_sheet, require, unique
from condlube.schema.tables import TABLES
from condlube.schema.words import SIGNALS

COLUMNS = TABLES["points"].columns
REQUIRED = ("point_id", "quantity")
PLANT_WIDE = "ambient"
# Quantities that can arrive in one unit only; for every other one the file must say.
ONLY_UNIT = {"ultrasound": "dB", "kurtosis": "1", "crest_factor": "1", "load": "%"}


def read_points(source: Text | None, bearings: Sheet, zone: ZoneInfo) -> Sheet:
    """Points; the tag is the point's own name unless given, the machine that of the bearing."""
    if source is None:
        return empty_sheet()
    sheet = read_sheet(source, COLUMNS, REQUIRED, zone)
    require(sheet, REQUIRED)
    unique(sheet, "point_id")
    apply(POINT_RULES, sheet)
    _places(sheet, bearings)
    _units(sheet)
    sheet.values["tag"] = [tag or point for tag, point in zip(sheet["tag"], sheet["point_id"], strict=True)]
    sheet.values["sampling"] = [sampling or "continuous" for sampling in sheet["sampling"]]
    _tags(sheet)
    return sheet


def _places(sheet: Sheet, bearings: Sheet) -> None:
    """Hold every point to a bearing or machine that exists, and fill in the machine of its bearing."""
    machine_of = dict(zip(bearings["bearing_id"], bearings["machine_id"], strict=True))
    machines = set(machine_of.values())
    fields = zip(sheet["bearing_id"], sheet["machine_id"], sheet["quantity"], strict=True)
    for row, (bearing, machine, quantity) in enumerate(fields):
        if bearing in machine_of and bearing is not None:
            sheet["machine_id"][row] = machine_of[bearing]
            if machine not in (None, machine_of[bearing]):
                sheet.blame(row, "machine_id", f"{machine_of[bearing]}, the machine of bearing {bearing}, or nothing")
        elif bearing is not None and bearings.whole:
            sheet.blame_id(row, "bearing_id", "a bearing_id of the bearings file", machine_of)
        elif machine is not None and machine not in machines and bearings.whole:
            sheet.blame_id(row, "machine_id", "a machine_id of the bearings file", machines)
        elif not sheet.given("bearing_id")[row].strip() and quantity in SIGNALS:
            sheet.blame(row, "bearing_id", f"a bearing_id: {quantity} is measured at one bearing")
        elif bearing is None and machine is None and quantity not in (None, PLANT_WIDE, *SIGNALS):
            sheet.blame(row, "machine_id", f"a machine_id or bearing_id: only {PLANT_WIDE} is plant-wide")


def _units(sheet: Sheet) -> None:
    """Fill in the unit where a quantity has only one; whether a unit measures its quantity is checked elsewhere."""
    units = sheet["unit"]
    for row, quantity in enumerate(sheet["quantity"]):
        if units[row] is None and quantity in ONLY_UNIT:
            units[row] = ONLY_UNIT[quantity]
        elif units[row] is None and quantity is not None:
            sheet.blame(row, "unit", f"the unit of {quantity} as it arrives")


def _tags(sheet: Sheet) -> None:
    """A tag belongs to one point at a time: rows that share one must not overlap in valid_from to valid_to."""
    shared = {tag for tag, count in Counter(sheet["tag"]).items() if count > 1 and tag is not None}
    spans: dict[str, list[tuple[date, date, int]]] = {}
    fields = zip(sheet["tag"], sheet["valid_from"], sheet["valid_to"], strict=True)
    for row, (tag, first, last) in enumerate(fields):
        if tag in shared:
            spans.setdefault(tag, []).append((first or date.min, last or date.max, row))
    for same in spans.values():
        same.sort()
        for (_, earlier_end, earlier), (begin, _, row) in pairwise(same):
            if begin <= earlier_end:
                sheet.blame(max(row, earlier), "tag", f"a tag of its own; line {sheet.lines[min(row, earlier)]} has "
                                                      "this one at the same time")  # fmt: skip
