from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from condlube.register.bearings import REQUIRED
from condlube.register.defaults import ASSUMED, NOT_ASSUMED
from condlube.schema.tables import TABLES

DIMENSIONS = {"bearing_type", "bore_mm", "outside_diameter_mm", "width_mm"}
Bearing = Callable[..., dict[str, Any]]


def test_every_field_is_required_read_or_has_a_stated_default() -> None:
    stated = {*REQUIRED, "site", "defaults_used", *DIMENSIONS, *ASSUMED, *NOT_ASSUMED}
    assert stated == set(TABLES["bearings"].columns)
    assert not ASSUMED.keys() & NOT_ASSUMED.keys()
    assert all(default.why for default in (*ASSUMED.values(), *NOT_ASSUMED.values()))


def test_a_default_is_made_from_earlier_fields_only() -> None:
    known = [*REQUIRED, *DIMENSIONS, *NOT_ASSUMED]
    for name, default in ASSUMED.items():
        missing = set(default.by) - set(known)
        assert missing <= ({"alarm_degc"} if name == "trip_degc" else set())  # each of the pair is made from the other
        known.append(name)


def test_the_least_that_a_bearing_needs(bearing: Bearing) -> None:
    row = bearing()
    # ISO 15, dimension series 03, bore code 10
    assert (row["bore_mm"], row["outside_diameter_mm"], row["width_mm"]) == (50.0, 110.0, 27.0)
    assert row["bearing_type"] == "deep_groove_ball"
    assert (row["seal"], row["supply"], row["site"], row["machine_id"]) == ("open", "hand", "Mill", "B1")
    used = row["defaults_used"].split()
    assert set(used) <= set(ASSUMED)
    assert all(row[name] is not None for name in used)
    assert "seal" not in used, "the designation tells it"
    assert {"load_ratio", "housing_degc", "contamination", "history_known"} <= set(used)


def test_what_is_given_is_no_default(bearing: Bearing) -> None:
    row = bearing(load_ratio="6", outdoors="no", supply="hand")
    assert row["load_ratio"] == 6.0
    assert not {"load_ratio", "outdoors", "supply"} & set(row["defaults_used"].split())


def test_no_assumed_value_where_a_field_has_no_use(bearing: Bearing) -> None:
    row = bearing()
    assert row["manual_interval_basis"] is None
    assert "manual_interval_basis" not in row["defaults_used"].split()
    row = bearing(manual_interval_h="4000")
    assert (row["manual_interval_basis"], row["manual_reference_degc"]) == ("unknown", 70.0)


@pytest.mark.parametrize(
    ("given", "alarm", "trip"),
    [({}, 95, 105), ({"alarm_degc": "120"}, 120, 130), ({"trip_degc": "80"}, 70, 80), ({"trip_degc": "130"}, 95, 130)],
)
def test_alarm_stays_under_trip(bearing: Bearing, given: dict[str, str], alarm: float, trip: float) -> None:
    row = bearing(**given)
    assert (row["alarm_degc"], row["trip_degc"]) == (alarm, trip)


def test_a_sealed_bearing_has_no_supply(bearing: Bearing) -> None:
    row = bearing(designation="6310-2RS1")
    assert (row["seal"], row["supply"]) == ("sealed", "none")


def test_two_shields_are_on_both_sides(bearing: Bearing) -> None:
    row = bearing(designation="6310-2Z")
    assert (row["seal"], row["shield_side"]) == ("shielded", "both")


def test_an_unknown_suffix_leaves_the_seal_a_default(bearing: Bearing) -> None:
    row = bearing(designation="6310 QQ7")
    assert row["seal"] == "open"
    assert "seal" in row["defaults_used"].split()


def test_grease_goes_in_through_the_groove_of_w33(bearing: Bearing) -> None:
    assert bearing(designation="22220 E W33")["entry"] == "outer_ring_groove"
    assert bearing(designation="22220 E")["entry"] == "side"


def test_the_only_grease_of_the_plant_is_assigned(bearing: Bearing) -> None:
    row = bearing(greases="grease_id\nG1\n")
    assert (row["grease_assigned"], row["grease_in_service"]) == ("G1", "G1")
    assert "grease_in_service" in row["defaults_used"].split()
    assert bearing(greases="grease_id\nG1\nG2\n")["grease_assigned"] is None
    assert bearing(greases="grease_id\nG1\n", supply="oil")["grease_assigned"] is None


def test_an_unknown_grease_in_service_stays_unknown(bearing: Bearing) -> None:
    row = bearing(greases="grease_id\nG1\n", grease_in_service="unknown")
    assert (row["grease_assigned"], row["grease_in_service"]) == ("G1", "unknown")


def test_life_counts_from_mounting_where_no_commissioning_is_given(bearing: Bearing) -> None:
    assert bearing(mounted="2023-05-01")["commissioned"] == date(2023, 5, 1)
    assert bearing(mounted="2023-05-01", commissioned="2020-01-01")["commissioned"] == date(2020, 1, 1)
    assert bearing()["commissioned"] is None
