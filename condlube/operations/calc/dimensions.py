"""What a designation says, as a page."""

from __future__ import annotations

from condlube.operations.calc.working import Item, Method, Working
from condlube.register.designation import parse_designation


def dimensions(designation: str) -> Working:
    """Type, boundary dimensions, closures and clearance of a designation."""
    found = parse_designation(designation)
    sides = {0: "both sides open", 1: f"one {found.closure}, one side open", 2: f"{found.closure}s on both sides"}
    results = (
        Item("bearing_type", "bearing type", found.bearing_type),
        Item("series", "series", found.series),
        Item("bore_code", "bore code", found.bore_code),
        Item("bore_mm", "bore", found.bore_mm, "mm", "d"),
        Item("outside_diameter_mm", "outside diameter", found.outside_diameter_mm, "mm", "D"),
        Item("width_mm", "width (T of tapered, H of thrust bearings)", found.width_mm, "mm", "B"),
        Item("seal", "closures", found.seal, note=sides[found.closed_sides]),
        Item("clearance", "internal clearance", found.clearance),
        Item("tapered_bore", "tapered bore", found.tapered_bore),
        Item("lubrication_groove", "groove and holes in the outer ring", found.lubrication_groove),
        Item("insulated", "current-insulated or hybrid", found.insulated),
        Item("reinforced", "reinforced design (E, EC)", found.reinforced),
        Item("cage", "cage suffix", found.cage or "none"),
        Item("other", "other suffixes", " ".join(found.other) or "none"),
    )
    method = Method(
        "Dimensions",
        "ISO 15:2017 (radial), ISO 355:2019 (tapered), ISO 104:2015 (thrust); suffixes of bearing makers' catalogues",
        results=results[3:6],
    )
    warnings = tuple(f"suffix {part!r} is not known: check that it names no seal or shield" for part in found.unread)
    return Working("Designation", (Item("designation", "designation", designation),), (method,), results, warnings)
