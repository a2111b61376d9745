"""Boundary dimensions against a table of published ones (makers' catalogues, general plan of ISO 15)."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from condlube.register.designation import parse_designation
from condlube.register.dimensions import DIMENSIONS, SERIES, bore_mm

with (Path(__file__).parent / "published_dimensions.csv").open(encoding="utf-8", newline="") as lines:
    PUBLISHED = list(csv.DictReader(lines))

SERIES_ASKED = (
    *("60", "62", "63", "64"),
    *(f"{kind}{series}" for kind in ("NU", "NJ", "NUP", "N") for series in (2, 3)),
    *("222", "223", "302", "303", "72", "73"),
)


def test_table_is_substantial() -> None:
    assert len(PUBLISHED) > 800
    series = {row["designation"][:-2] for row in PUBLISHED}
    assert {"60", "62", "63", "64", "NU2", "NU3", "222", "223", "302", "303", "72", "73"} <= series


@pytest.mark.parametrize("series", sorted({row["designation"][:-2] for row in PUBLISHED}))
def test_published_dimensions(series: str) -> None:
    for row in PUBLISHED:
        if row["designation"][:-2] != series:
            continue
        found = parse_designation(row["designation"])
        assert found.bore_mm == float(row["bore_mm"]), row
        assert found.outside_diameter_mm == float(row["outside_diameter_mm"]), row
        if row["width_mm"]:
            tolerance = float(row["width_tolerance_mm"]) + 1e-9
            assert found.width_mm == pytest.approx(float(row["width_mm"]), abs=tolerance), row


@pytest.mark.parametrize("series", SERIES_ASKED)
def test_codes_04_to_40(series: str) -> None:
    asked = [f"{code:02d}" for code in (*range(4, 23), *range(24, 41, 2))]
    assert [code for code in asked if code not in DIMENSIONS[series]] == []


@pytest.mark.parametrize(
    ("designation", "dimensions"),
    [  # worked by hand from catalogue pages: examples of references, ISO 15
        ("6313", (65, 140, 33)), ("6210", (50, 90, 20)), ("6220", (100, 180, 34)), ("6205", (25, 52, 15)),
        ("NU220", (100, 180, 34)), ("22220", (100, 180, 46)), ("30207", (35, 72, 18.25)), ("608", (8, 22, 7)),
        ("7310", (50, 110, 27)), ("6300", (10, 35, 11)), ("6001", (12, 28, 8)), ("NUP311", (55, 120, 29)),
        ("22312", (60, 130, 46)), ("32007", (35, 62, 18)), ("51105", (25, 42, 11)), ("29412", (60, 130, 42)),
        ("23024", (120, 180, 46)), ("24024", (120, 180, 60)), ("62/22", (22, 50, 14)), ("320/28", (28, 52, 16)),
    ],
)  # fmt: skip
def test_known_bearings(designation: str, dimensions: tuple[float, float, float]) -> None:
    found = parse_designation(designation)
    assert (found.bore_mm, found.outside_diameter_mm, found.width_mm) == dimensions


@pytest.mark.parametrize(("code", "bore"), [("00", 10), ("01", 12), ("02", 15), ("03", 17), ("04", 20), ("40", 200),
                                            ("8", 8), ("/28", 28)])  # fmt: skip
def test_bore_codes(code: str, bore: float) -> None:
    assert bore_mm(code) == bore


@pytest.mark.parametrize("series", sorted(SERIES))
def test_every_series_is_plausible(series: str) -> None:
    """Bore below outside diameter, diameters rising with the bore, width below the ring's outside diameter."""
    rows = sorted(DIMENSIONS[series].values())
    assert rows
    for row in rows:
        assert row.bore_mm < row.outside_diameter_mm
        assert 0 < row.width_mm < row.outside_diameter_mm
    outside = [row.outside_diameter_mm for row in rows]
    assert outside == sorted(outside)
