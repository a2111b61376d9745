"""Register files to a register: every fault of every file at once."""

from __future__ import annotations

from condlube.errors import ConfigurationError
from condlube.register.bearings import read_bearings
from condlube.register.canonical import digest
from condlube.register.greases import read_greases
from condlube.register.model import Register, Site, Text
from condlube.register.points import read_points


def parse_register(bearings: Text, greases: Text | None, points: Text | None, site: Site) -> Register:
    """Read the register of a site from the text of its CSV files.

    Raises
    ------
    ConfigurationError
        With all faults of the three files, each naming file, line, column, value seen and value expected.
    """
    grease_sheet = read_greases(greases, site.zone)
    bearing_sheet = read_bearings(bearings, [g for g in grease_sheet["grease_id"] if g is not None], site)
    point_sheet = read_points(points, bearing_sheet, site.zone)
    if faults := [*bearing_sheet.faults, *grease_sheet.faults, *point_sheet.faults]:
        raise ConfigurationError(faults)
    tables = {
        "bearings": bearing_sheet.table("bearings"),
        "greases": grease_sheet.table("greases"),
        "points": point_sheet.table("points"),
    }
    return Register(**tables, digest=digest(tables, site), site=site)
