"""Register files to a register: every fault of every file at once."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from condlube.errors import ConfigurationError, Fault
from condlube.register.bearings import read_bearings
from condlube.register.canonical import digest
from condlube.register.greases import read_greases
from condlube.register.model import Register, Site, Text
from condlube.register.points import read_points
from condlube.register.sheet import empty_sheet


class Examined(NamedTuple):
    """A register as far as it can be read, and everything that is wrong with it.

    ``whole`` is False when rows or ids are lost, so that nothing can be blamed for pointing to what is not there.
    """

    register: Register
    faults: list[Fault]
    whole: bool


def parse_register(bearings: Text, greases: Text | None, points: Text | None, site: Site) -> Register:
    """Read the register of a site from the text of its CSV files.

    Raises
    ------
    ConfigurationError
        With all faults of the three files, each naming file, line, column, value seen and value expected.
    """
    examined = examine_register(bearings, greases, points, site)
    if examined.faults:
        raise ConfigurationError(examined.faults)
    return examined.register


def examine_register(
    bearings: Text | None, greases: Text | None, points: Text | None, site: Site, unread: Collection[str] = ()
) -> Examined:
    """The register as far as it can be read; ``unread`` names the files (greases, points) that could not be opened."""
    grease_sheet = empty_sheet(whole=False) if "greases" in unread else read_greases(greases, site.zone)
    bearing_sheet = read_bearings(bearings, grease_sheet, site)
    point_sheet = empty_sheet(whole=False) if "points" in unread else read_points(points, bearing_sheet, site.zone)
    sheets = {"bearings": bearing_sheet, "greases": grease_sheet, "points": point_sheet}
    tables = {name: sheet.table(name) for name, sheet in sheets.items()}
    faults = [fault for sheet in sheets.values() for fault in sheet.faults]
    register = Register(**tables, digest=digest(tables, site), site=site)
    return Examined(register, faults, all(sheet.whole for sheet in sheets.values()))
