"""Designations as they stand on nameplates, in stores systems and in spreadsheets."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from condlube.errors import InvalidArgument
from condlube.register.designation import SUFFIXES, Designation, UnknownDesignation, parse_designation
from condlube.register.dimensions import DIMENSIONS


@pytest.mark.parametrize(
    ("text", "seal", "closure", "sides"),
    [
        ("6313", "open", "none", 0),
        ("6205-2RS1", "sealed", "seal", 2), ("6205 2RS", "sealed", "seal", 2), ("6205-2RSR-C3", "sealed", "seal", 2),
        ("62052RS", "sealed", "seal", 2), ("6205LLU", "sealed", "seal", 2), ("6205LLUC3/5K", "sealed", "seal", 2),
        ("6205DDU", "sealed", "seal", 2), ("6205VV", "sealed", "seal", 2), ("6205-2RZ", "sealed", "seal", 2),
        ("6205-2RSH/C3", "sealed", "seal", 2), ("6205EE", "sealed", "seal", 2), ("6302-C-2BRS", "sealed", "seal", 2),
        ("6205ZZ", "shielded", "shield", 2), ("6205-2Z", "shielded", "shield", 2),
        ("6205 2Z/C3", "shielded", "shield", 2), ("6205-2ZR-C3", "shielded", "shield", 2),
        ("6205zzc3", "shielded", "shield", 2),
        ("6205-Z", "open", "shield", 1), ("6205-RS1", "open", "seal", 1), ("6205-RZ", "open", "seal", 1),
        ("6205 Z C3", "open", "shield", 1),
    ],
)  # fmt: skip
def test_closures(text: str, seal: str, closure: str, sides: int) -> None:
    found = parse_designation(text)
    assert (found.seal, found.closure, found.closed_sides) == (seal, closure, sides)


@pytest.mark.parametrize(
    ("text", "clearance"),
    [("6313", "CN"), ("6313/C3", "C3"), ("6313 C3", "C3"), ("6313-C3", "C3"), ("6313C3", "C3"), ("6205ZZC4", "C4"),
     ("NU 220 ECP/C3", "C3"), ("6313 M/C3VL0241", "C3"), ("6205-2Z/CN", "CN"), ("NU220-E-XL-TVP2-C3", "C3")],
)  # fmt: skip
def test_clearance(text: str, clearance: str) -> None:
    assert parse_designation(text).clearance == clearance


@pytest.mark.parametrize(
    ("text", "field", "value"),
    [
        ("22220 EK/C3", "tapered_bore", True), ("22220CCK/W33", "tapered_bore", True),
        ("22220 E", "tapered_bore", False),
        ("22220CCK/W33", "lubrication_groove", True), ("22220 E/C3W33", "entry", "outer_ring_groove"),
        ("22220 E", "entry", "side"), ("22220 E", "reinforced", True), ("NU 220 ECP", "reinforced", True),
        ("NU220", "reinforced", False), ("6320 M/C3VL0241", "insulated", True), ("6313-M-J20AA-C4", "insulated", True),
        ("6313", "insulated", False), ("NU220-E-XL-TVP2", "cage", "TVP2"), ("6320 M/C3", "cage", "M"),
        ("1207 EKTN9/C3", "cage", "TN9"),
    ],
)  # fmt: skip
def test_features(text: str, field: str, value: object) -> None:
    assert getattr(parse_designation(text), field) == value


@pytest.mark.parametrize(
    ("text", "bearing_type"),
    [("6313", "deep_groove_ball"), ("7310 BECBP", "angular_contact_ball"), ("3208 A", "angular_contact_ball"),
     ("QJ 212", "angular_contact_ball"), ("1207 K", "self_aligning_ball"), ("2311", "self_aligning_ball"),
     ("NU 220", "cylindrical_roller"), ("NJ2208", "cylindrical_roller"), ("N 212", "cylindrical_roller"),
     ("NUP 311", "cylindrical_roller"), ("22220", "spherical_roller"), ("21310", "spherical_roller"),
     ("23120", "spherical_roller"), ("30207", "tapered_roller"), ("32310", "tapered_roller"),
     ("C 2220 K", "toroidal_roller"),
     ("51105", "thrust_ball"), ("29420 E", "spherical_roller_thrust")],
)  # fmt: skip
def test_types(text: str, bearing_type: str) -> None:
    assert parse_designation(text).bearing_type == bearing_type


@pytest.mark.parametrize(
    ("text", "understood"),
    [
        ("", "no basic designation"), ("ABC", "no basic designation"), ("HK2020", "no basic designation"),
        ("NU", "no basic designation"), ("6199", "bore code 99"), ("6299X", "series 62 (deep_groove_ball)"),
        ("NU299", "series NU2 (cylindrical_roller)"), ("62051", "bore code 51"), ("6205 ", None),
    ],
)  # fmt: skip
def test_unknown_names_what_was_understood(text: str, understood: str | None) -> None:
    if understood is None:
        assert parse_designation(text).bore_mm == 25
        return
    with pytest.raises(UnknownDesignation, match="understood") as caught:
        parse_designation(text)
    assert caught.value.understood == understood
    assert isinstance(caught.value, InvalidArgument)


@pytest.mark.parametrize("value", [None, 6205, 6205.0, b"6205", ["6205"]])
def test_not_text(value: object) -> None:
    with pytest.raises(UnknownDesignation, match="understood: nothing"):
        parse_designation(value)  # type: ignore[arg-type]


def test_unread_suffix_is_reported() -> None:
    found = parse_designation("6205-2R5/C3")
    assert found.unread == ("2R5",)
    assert found.clearance == "C3"
    assert parse_designation("6205-2RS1NR/C3").unread == ()


def test_each_suffix_says_one_thing() -> None:
    tokens = [token for line in SUFFIXES.strip().splitlines() for token in line.split()[1:]]
    assert len(tokens) == len(set(tokens))


def test_separators_do_not_matter() -> None:
    forms = ["6205-2RS1/C3", "6205 2RS1 C3", "6205.2RS1.C3", "6205-2rs1-c3", "  6205  2RS1/C3 ", "62052RS1C3"]
    found = {parse_designation(form) for form in forms}
    assert len({(one.seal, one.clearance, one.bore_mm, one.width_mm) for one in found}) == 1


@given(st.sampled_from([(series, code) for series, codes in DIMENSIONS.items() for code in codes]))
def test_every_series_and_code_reads_back(pair: tuple[str, str]) -> None:
    found = parse_designation("".join(pair))
    assert (found.series, found.bore_code) == pair
    assert found.seal == "open"


@given(st.text(max_size=12))
def test_any_text_gives_a_bearing_or_one_clear_error(text: str) -> None:
    found: Designation | None = None
    with suppress(UnknownDesignation):
        found = parse_designation(text)
    assert found is None or found.bore_mm < found.outside_diameter_mm
