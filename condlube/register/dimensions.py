"""Bearing series and their boundary dimensions by bore code."""

from __future__ import annotations

from typing import NamedTuple

from condlube.register.boundary_tables import (
    DIAMETER_SERIES_0,
    DIAMETER_SERIES_1,
    DIAMETER_SERIES_2,
    DIAMETER_SERIES_3,
    DIAMETER_SERIES_4,
    DIAMETER_SERIES_8_9,
    THRUST,
)


class Series(NamedTuple):
    """Bearing type of a series, and the table and columns that hold its outside diameter and width."""

    bearing_type: str
    table: str
    diameter: str
    width: str


def _series(bearing_type: str, table: str, width: str, *names: str, diameter: str = "D") -> dict[str, Series]:
    return {name: Series(bearing_type, table, diameter, width) for name in names}


CYLINDRICAL = ("NU", "NJ", "NUP", "N", "NF")

SERIES: dict[str, Series] = {
    **_series("deep_groove_ball", DIAMETER_SERIES_8_9, "18", "618", "68", diameter="D8"),
    **_series("deep_groove_ball", DIAMETER_SERIES_8_9, "19", "619", "69", diameter="D9"),
    **_series("deep_groove_ball", DIAMETER_SERIES_0, "00", "160"),
    **_series("deep_groove_ball", DIAMETER_SERIES_0, "10", "60"),
    **_series("deep_groove_ball", DIAMETER_SERIES_0, "30", "630"),
    **_series("deep_groove_ball", DIAMETER_SERIES_2, "02", "62"),
    **_series("deep_groove_ball", DIAMETER_SERIES_2, "22", "622"),
    **_series("deep_groove_ball", DIAMETER_SERIES_3, "03", "63"),
    **_series("deep_groove_ball", DIAMETER_SERIES_3, "23", "623"),
    **_series("deep_groove_ball", DIAMETER_SERIES_4, "04", "64"),
    **_series("angular_contact_ball", DIAMETER_SERIES_8_9, "18", "718", diameter="D8"),
    **_series("angular_contact_ball", DIAMETER_SERIES_8_9, "19", "719", diameter="D9"),
    **_series("angular_contact_ball", DIAMETER_SERIES_0, "10", "70"),
    **_series("angular_contact_ball", DIAMETER_SERIES_2, "02", "72", "QJ2"),
    **_series("angular_contact_ball", DIAMETER_SERIES_3, "03", "73", "QJ3"),
    **_series("angular_contact_ball", DIAMETER_SERIES_2, "32", "32", "52"),
    **_series("angular_contact_ball", DIAMETER_SERIES_3, "33", "33", "53"),
    **_series("self_aligning_ball", DIAMETER_SERIES_2, "02", "12"),
    **_series("self_aligning_ball", DIAMETER_SERIES_3, "03", "13"),
    **_series("self_aligning_ball", DIAMETER_SERIES_2, "22", "22"),
    **_series("self_aligning_ball", DIAMETER_SERIES_3, "23", "23"),
    **_series("cylindrical_roller", DIAMETER_SERIES_0, "10", *(f"{kind}10" for kind in CYLINDRICAL)),
    **_series("cylindrical_roller", DIAMETER_SERIES_2, "02", *(f"{kind}2" for kind in CYLINDRICAL)),
    **_series("cylindrical_roller", DIAMETER_SERIES_2, "22", *(f"{kind}22" for kind in CYLINDRICAL)),
    **_series("cylindrical_roller", DIAMETER_SERIES_3, "03", *(f"{kind}3" for kind in CYLINDRICAL)),
    **_series("cylindrical_roller", DIAMETER_SERIES_3, "23", *(f"{kind}23" for kind in CYLINDRICAL)),
    **_series("cylindrical_roller", DIAMETER_SERIES_4, "04", *(f"{kind}4" for kind in CYLINDRICAL)),
    **_series("spherical_roller", DIAMETER_SERIES_3, "03", "213"),
    **_series("spherical_roller", DIAMETER_SERIES_2, "22", "222"),
    **_series("spherical_roller", DIAMETER_SERIES_3, "23", "223"),
    **_series("spherical_roller", DIAMETER_SERIES_0, "30", "230"),
    **_series("spherical_roller", DIAMETER_SERIES_1, "31", "231"),
    **_series("spherical_roller", DIAMETER_SERIES_2, "32", "232"),
    **_series("spherical_roller", DIAMETER_SERIES_0, "40", "240"),
    **_series("spherical_roller", DIAMETER_SERIES_1, "41", "241"),
    **_series("toroidal_roller", DIAMETER_SERIES_2, "22", "C22"),
    **_series("toroidal_roller", DIAMETER_SERIES_3, "23", "C23"),
    **_series("toroidal_roller", DIAMETER_SERIES_0, "30", "C30"),
    **_series("toroidal_roller", DIAMETER_SERIES_1, "31", "C31"),
    **_series("tapered_roller", DIAMETER_SERIES_0, "T20", "320"),
    **_series("tapered_roller", DIAMETER_SERIES_2, "T02", "302"),
    **_series("tapered_roller", DIAMETER_SERIES_2, "T22", "322"),
    **_series("tapered_roller", DIAMETER_SERIES_3, "T03", "303"),
    **_series("tapered_roller", DIAMETER_SERIES_3, "T13", "313"),
    **_series("tapered_roller", DIAMETER_SERIES_3, "T23", "323"),
    **_series("thrust_ball", THRUST, "H11", "511", diameter="D11"),
    **_series("thrust_ball", THRUST, "H12", "512", diameter="D12"),
    **_series("spherical_roller_thrust", THRUST, "H93", "293", diameter="D93"),
    **_series("spherical_roller_thrust", THRUST, "H94", "294", diameter="D94"),
}
"""Every bearing series that condlube knows, by the name that stands before the bore code."""


class Dimensions(NamedTuple):
    """Boundary dimensions, mm: ``width_mm`` is T of a tapered roller bearing and H of a thrust bearing."""

    bore_mm: float
    outside_diameter_mm: float
    width_mm: float


def bore_mm(code: str) -> float:
    """Bore of a bore code: 00 to 03 are 10, 12, 15 and 17 mm; one digit and /nn are mm; others a fifth of it."""
    if len(code) == 1 or code.startswith("/"):
        return float(code.removeprefix("/"))
    return {"00": 10.0, "01": 12.0, "02": 15.0, "03": 17.0}.get(code, 5.0 * int(code))


def _column(table: str, column: str) -> dict[str, float]:
    header, *rows = (line.split() for line in table.strip().splitlines())
    position = header.index(column)
    return {row[0]: float(row[position]) for row in rows if row[position] != "-"}


def _dimensions(name: str, series: Series) -> dict[str, Dimensions]:
    outside, width = _column(series.table, series.diameter), _column(series.table, series.width)
    codes = (code for code in width if len(code) > 1 or name in WITH_SMALL_BORES)
    return {code: Dimensions(bore_mm(code), outside[code], width[code]) for code in codes}


WITH_SMALL_BORES = ("60", "62", "63")
"""Series with bores below 10 mm, written with one digit: 608, 625."""

DIMENSIONS: dict[str, dict[str, Dimensions]] = {name: _dimensions(name, series) for name, series in SERIES.items()}
"""Dimensions by series and bore code."""
