"""Inputs as people write them: numbers with a unit, and bearings by designation or by dimensions."""

from __future__ import annotations

import re
from dataclasses import dataclass

from condlube.errors import InvalidArgument
from condlube.operations.calc.working import Item
from condlube.register.designation import parse_designation
from condlube.units import linear

UNITS = {
    "length": ("mm", {"mm": "mm", "cm": "cm", "m": "m", "in": "inch", "inch": "inch", '"': "inch"}),
    "mass": ("kg", {"kg": "kg", "g": "gram", "lb": "pound", "oz": "ounce"}),
    "grease": ("g", {"g": "gram", "oz": "ounce"}),
    "force": ("N", {"N": "newton", "kN": "kilonewton", "lbf": "force_pound"}),
    "viscosity": ("mm2/s", {"mm2/s": "mm**2/s", "mm²/s": "mm**2/s", "cSt": "centistokes"}),
}
"""Canonical unit of each kind, and spellings with the units library's name."""

WRITTEN = re.compile(r"(?P<number>[-+]?[\d.,]*\d[\d.]*(?:[eE][-+]?\d+)?)\s*(?P<unit>.*)")


def read(kind: str, text: str) -> float:
    """A number in the canonical unit of its kind, from text such as ``2.56 in``, ``160 F`` or ``0.3 in/s peak``.

    Kinds: those of :data:`UNITS` and the quantities of :mod:`condlube.units` (temperature, speed, velocity, power).
    A comma is a thousands separator.

    Raises
    ------
    InvalidArgument
        Not a number, or a unit that does not measure this kind.
    """
    match = WRITTEN.fullmatch(text.strip())
    if match is None:
        raise InvalidArgument(kind, text, "a number, with a unit where it is not the usual one")
    try:
        number = float(match["number"].replace(",", ""))
    except ValueError:
        raise InvalidArgument(kind, text, "a number, with a unit where it is not the usual one") from None
    unit = match["unit"].strip()
    return number if not unit else _converted(kind, number, unit)


def _converted(kind: str, number: float, unit: str) -> float:
    if kind not in UNITS:
        factor, offset = linear(kind, unit)
        return factor * number + offset
    canonical, spellings = UNITS[kind]
    if unit not in spellings:
        raise InvalidArgument("unit", unit, f"one of {', '.join(spellings)} for {kind}")
    if unit == canonical:
        return number
    import pint

    registry = pint.get_application_registry()
    return float(registry.Quantity(number, spellings[unit]).to(spellings[canonical]).magnitude)


@dataclass(frozen=True, slots=True)
class Bearing:
    """A bearing as a calculation needs it; dimensions in mm."""

    bearing_type: str
    bore_mm: float
    outside_diameter_mm: float
    width_mm: float | None
    seal: str
    entry: str
    designation: str = ""
    unread: tuple[str, ...] = ()

    @property
    def mean_diameter_mm(self) -> float:
        """(d + D)/2."""
        return 0.5 * (self.bore_mm + self.outside_diameter_mm)

    @property
    def items(self) -> tuple[Item, ...]:
        """The bearing's lines on the page."""
        lines = [
            Item("bearing_type", "bearing type", self.bearing_type, note=self.seal),
            Item("bore_mm", "bore", self.bore_mm, "mm", "d"),
            Item("outside_diameter_mm", "outside diameter", self.outside_diameter_mm, "mm", "D"),
        ]
        if self.designation:
            lines.insert(0, Item("designation", "designation", self.designation))
        if self.width_mm is not None:
            lines.append(Item("width_mm", "width (height of a thrust bearing)", self.width_mm, "mm", "B"))
        return tuple(lines)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What of the designation could not be read."""
        return tuple(f"suffix {part!r} is not known: check that it names no seal or shield" for part in self.unread)


def bearing(
    designation: str = "",
    *,
    bearing_type: str | None = None,
    bore_mm: float | None = None,
    outside_diameter_mm: float | None = None,
    width_mm: float | None = None,
    seal: str | None = None,
) -> Bearing:
    """A bearing by designation, by type and dimensions, or both: what is given outright prevails.

    Raises
    ------
    UnknownDesignation
        The designation is not known and the dimensions are not all given.
    InvalidArgument
        Neither a designation nor type, bore and outside diameter.
    """
    given = {"bearing_type": bearing_type, "bore_mm": bore_mm, "outside_diameter_mm": outside_diameter_mm}
    if designation:
        read_off = parse_designation(designation)
        found = Bearing(
            bearing_type or read_off.bearing_type,
            read_off.bore_mm if bore_mm is None else bore_mm,
            read_off.outside_diameter_mm if outside_diameter_mm is None else outside_diameter_mm,
            read_off.width_mm if width_mm is None else width_mm,
            seal or read_off.seal,
            read_off.entry,
            designation,
            read_off.unread,
        )
    elif bearing_type is None or bore_mm is None or outside_diameter_mm is None:
        missing = next(name for name, value in given.items() if value is None)
        raise InvalidArgument(missing, None, "a designation, or bearing type, bore and outside diameter")
    else:
        found = Bearing(bearing_type, bore_mm, outside_diameter_mm, width_mm, seal or "open", "side")
    if found.outside_diameter_mm <= found.bore_mm:
        expected = f"more than the bore, {found.bore_mm:g} mm"
        raise InvalidArgument("outside_diameter_mm", found.outside_diameter_mm, expected)
    return found
