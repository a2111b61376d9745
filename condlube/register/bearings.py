"""The bearings file: dimensions from the designation, rules, references, defaults."""

from __future__ import annotations

from condlube.register.defaults import fill
from condlube.register.designation import Designation, UnknownDesignation, parse_designation
from condlube.register.model import Site, Text
from condlube.register.rules import BEARING_RULES, apply
from condlube.register.sheet import Sheet, empty_sheet, read_sheet, require, unique
from condlube.schema.tables import TABLES

COLUMNS = tuple(name for name in TABLES["bearings"].columns if name != "defaults_used")
REQUIRED = ("bearing_id", "speed_rpm")
DIMENSIONS = ("bearing_type", "bore_mm", "outside_diameter_mm", "width_mm")
UNKNOWN = "unknown"  # as grease_in_service: known not to be known


def read_bearings(source: Text | None, greases: Sheet, site: Site) -> Sheet:
    """Bearings with every field filled and ``defaults_used``; the sheet's ``faults`` say what is wrong."""
    if source is None:
        return empty_sheet(whole=False)
    sheet = read_sheet(source, COLUMNS, REQUIRED, site.zone)
    if not len(sheet) and not sheet.faults:
        sheet.blame_file("", "no bearing", "at least one bearing under the header")
    require(sheet, REQUIRED)
    unique(sheet, "bearing_id")
    _designations(sheet)
    apply(BEARING_RULES, sheet)
    _references(sheet, greases)
    if greases.whole and len(greases) == 1:
        only = greases["grease_id"][0]
        supplies = zip(sheet["grease_assigned"], sheet["supply"], strict=True)
        sheet.values["grease_assigned"] = [only if own is None and how != "oil" else own for own, how in supplies]
    sheet.values["defaults_used"] = list(fill(sheet, site.name))
    return sheet


def _designations(sheet: Sheet) -> None:
    """Take type, dimensions and closure from the designation where the row does not give them."""
    given = [sheet.given(name) for name in DIMENSIONS]
    for row, designation in enumerate(sheet["designation"]):
        missing = [name for name, cells in zip(DIMENSIONS, given, strict=True) if not cells[row].strip()]
        wanted = "a designation"
        if designation is not None:
            try:
                _take(sheet, row, parse_designation(designation))
                continue
            except UnknownDesignation as error:
                wanted = error.expected.partition("; understood")[0]
        if missing:
            sheet.blame(row, "designation", f"{wanted}; or {', '.join(missing)} in columns of their own")


def _take(sheet: Sheet, row: int, said: Designation) -> None:
    for name in DIMENSIONS:
        value, own = getattr(said, name), sheet[name][row]
        if own is None:
            sheet[name][row] = value
        elif name != "width_mm" and (own != value if isinstance(own, str) else abs(own - value) > 0.5):
            sheet.blame(row, name, f"{value if isinstance(own, str) else format(value, 'g')}, as {said.text} says")
    seal = sheet["seal"][row]
    if seal is None and not said.unread:
        sheet["seal"][row] = said.seal
    elif seal is not None and said.closed_sides == 2 and seal != said.seal:
        sheet.blame(row, "seal", f"{said.seal}, as {said.text} says")
    if sheet["seal"][row] == "shielded" and said.seal == "shielded" and sheet["shield_side"][row] is None:
        sheet["shield_side"][row] = "both"


def _references(sheet: Sheet, greases: Sheet) -> None:
    bearings = set(sheet["bearing_id"])
    for row, other in enumerate(sheet["cavity_shared_with"]):
        if other is not None and other not in bearings and sheet.whole:
            sheet.blame_id(row, "cavity_shared_with", "the bearing_id of another bearing", bearings)
    known = {grease for grease in greases["grease_id"] if grease is not None}
    for column, extra in (("grease_assigned", ()), ("grease_in_service", (UNKNOWN,))) if greases.whole else ():
        for row, grease in enumerate(sheet[column]):
            if grease is not None and grease not in known and grease not in extra:
                wanted = "a grease_id of the greases file" + (f", or {UNKNOWN}" if extra else "")
                sheet.blame_id(row, column, wanted, known)
