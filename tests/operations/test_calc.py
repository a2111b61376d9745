"""The worked pages of ``calc``: numbers that can be redone from what is printed, JSON, and clear errors."""

from __future__ import annotations

import json
import re
from datetime import date

import pytest
from click.testing import CliRunner, Result

from condlube.cli_calc import calc
from condlube.errors import InvalidArgument
from condlube.operations.calc.compatibility import compatibility
from condlube.operations.calc.grease_life import grease_life
from condlube.operations.calc.inputs import bearing, read
from condlube.operations.calc.interval import interval
from condlube.operations.calc.life import life
from condlube.operations.calc.quantity import quantity
from condlube.operations.calc.viscosity import viscosity
from condlube.operations.calc.working import Working, as_json, as_text, number_text
from condlube.register.designation import UnknownDesignation

COMMANDS = {
    "interval": ["6313", "--speed", "1800"],
    "quantity": ["6313", "--mass", "2.1", "--gun", "1.3"],
    "viscosity": ["6313", "--v40", "100", "--v100", "11.1", "--temperature", "70", "--speed", "1800"],
    "life": ["6313", "--speed", "1800", "--c", "97.5 kN", "--load", "9.75 kN", "--c0", "60 kN", "--kappa", "2.6"],
    "grease-life": ["6205-2RS1", "--speed", "3000", "--temperature", "80", "--as-of", "2026-01-01"],
    "compatibility": ["lithium", "calcium", "--base-oil-in-service", "mineral", "--base-oil-assigned", "ester"],
    "zone": ["--velocity", "3", "--power", "100", "--speed", "1500", "--baseline", "1.2"],
    "vibration": ["--velocity", "3", "--frequency", "25", "--level", "8"],
    "suitability": ["6313", "--speed", "1800", "--ring-temperature", "80", "--din", "KP2K-20"],
    "grease": ["KP2K-20", "--penetration", "280", "--v40", "100"],
    "dimensions": ["NU 220 ECP/C3"],
}


def _run(command: str, *arguments: str) -> Result:
    return CliRunner().invoke(calc, [command, *arguments])


def _json(command: str, *arguments: str) -> dict[str, dict[str, dict[str, object]]]:
    result = _run(command, *arguments, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


def test_every_command_is_tried() -> None:
    assert set(COMMANDS) == set(calc.commands)


@pytest.mark.parametrize("command", COMMANDS)
def test_page_shows_inputs_source_and_result(command: str) -> None:
    result = _run(command, *COMMANDS[command])
    assert result.exit_code == 0, result.output
    page = result.output
    assert "Given\n" in page
    assert "Source: " in page
    assert "Result\n" in page
    assert max(map(len, page.splitlines())) <= 130
    assert "nan" not in page.lower().split()


@pytest.mark.parametrize("command", COMMANDS)
def test_json_has_inputs_results_units_method_source_and_warnings(command: str) -> None:
    page = _json(command, *COMMANDS[command])
    assert set(page) == {"title", "inputs", "results", "methods", "warnings"}
    assert page["results"]
    for method in page["methods"]:
        assert {"method", "source", "formula", "results", "outside_range"} <= set(method)
    for item in page["results"].values():
        assert set(item) == {"value", "unit", "note"}


def test_interval_page_can_be_redone_by_hand() -> None:
    """The printed numbers, put into the printed formula, give the printed result (references 1a: 1479.9 h)."""
    page = _run(
        "interval", "6313", "--speed", "1800", "--housing-temperature", "70", "--contamination", "heavy_nonabrasive",
        "--vibration", "4",
    ).output  # fmt: skip
    k = re.search(r"K = ([\d. ×]+) = ([\d.]+)", page)
    assert k is not None
    product = 1.0
    for factor in k[1].split(" × "):
        product *= float(factor)
    assert product == pytest.approx(float(k[2]))
    line = re.search(r"T = ([\d.]+) × \(([\d.,]+) − ([\d.,]+)\) = ([\d,]+) h", page)
    assert line is not None
    factor, slow, fixed, hours = (float(text.replace(",", "")) for text in line.groups())
    assert factor * (slow - fixed) == pytest.approx(hours, rel=1e-3)
    assert hours == pytest.approx(1479.9, abs=1)


def test_catalogue_page_can_be_redone_by_hand() -> None:
    page = as_text(interval(bearing("6313"), 1800.0, ring_temperature_degc=85.0))
    line = re.search(r"T = ([\d,]+) × ([\d.]+) = ([\d,]+) h", page)
    assert line is not None
    base, multiplier, hours = (float(text.replace(",", "")) for text in line.groups())
    assert multiplier == 0.5  # 70 °C rule: halved at 85 °C
    assert base * multiplier == pytest.approx(hours, abs=1)


def test_manual_interval_comes_first() -> None:
    page = interval(bearing("6313"), 1800.0, manual_interval_h=5400.0, manual_basis="L10")
    assert page.methods[0].title == "Machine manual"
    assert page.results[0].value == pytest.approx(2000.0)  # 5400 / 2.7
    assert [method.title for method in page.methods[1:]] == ["Trade formula", "Catalogue rule", "Reduction factors"]


@pytest.mark.parametrize(("basis", "hours"), [("L01", 5400.0), ("unknown", 5400.0), ("calendar", 5400.0)])
def test_other_manual_bases_are_taken_as_given(basis: str, hours: float) -> None:
    page = interval(bearing("6313"), 1800.0, manual_interval_h=5400.0, manual_basis=basis)
    assert page.results[0].value == hours


def test_outside_range_prints_a_reason_and_no_number() -> None:
    page = interval(bearing("22220"), 5000.0)
    text = as_text(page)
    assert text.count("Outside range: ") == 3
    assert "ask the bearing maker" in " ".join(text.split())
    values = {item.name: item.value for item in page.results}
    assert set(values.values()) == {None}
    found = _json("interval", "22220", "--speed", "5000")
    assert found["results"]["trade_h"]["value"] is None
    assert all(method["outside_range"] for method in found["methods"])


def test_sealed_bearing_has_no_interval() -> None:
    page = interval(bearing("6205-2RS1"), 1500.0)
    assert all("replacement" in method.outside for method in page.methods)


def test_dimensions_and_designation_agree() -> None:
    by_name = interval(bearing("6313"), 1800.0)
    by_size = interval(bearing(bearing_type="deep_groove_ball", bore_mm=65.0, outside_diameter_mm=140.0), 1800.0)
    assert by_name.results == by_size.results


def test_metric_equals_imperial() -> None:
    metric = _json("interval", "--type", "deep_groove_ball", "--bore", "63.5", "--outside-diameter", "139.7",
                   "--speed", "1800", "--housing-temperature", "70", "--vibration", "3.5920")  # fmt: skip
    imperial = _json("interval", "--type", "deep_groove_ball", "--bore", "2.5 in", "--outside-diameter", "5.5in",
                     "--speed", "30 Hz", "--housing-temperature", "158 F",
                     "--vibration", "0.19999 in/s peak")  # fmt: skip
    for name in ("trade_h", "catalogue_h"):
        assert imperial["results"][name]["value"] == pytest.approx(metric["results"][name]["value"], rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("length", "65", 65.0), ("length", "65 mm", 65.0), ("length", "2.5 in", 63.5), ("length", "1,200", 1200.0),
        ("temperature", "158 F", 70.0), ("temperature", "70", 70.0), ("speed", "30 Hz", 1800.0),
        ("velocity", "0.2 in/s peak", 0.2 * 25.4 / 2**0.5), ("power", "100 hp", 74.57), ("mass", "1 lb", 0.45359237),
        ("force", "9.75 kN", 9750.0), ("grease", "1 oz", 28.349523125), ("viscosity", "100 cSt", 100.0),
        ("length", "-5", -5.0), ("length", "1e2", 100.0),
    ],
)  # fmt: skip
def test_numbers_with_units(kind: str, text: str, value: float) -> None:
    assert read(kind, text) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("kind", "text"),
    [("length", ""), ("length", "abc"), ("length", "5 kg"), ("length", "1.2.3"), ("temperature", "20 mm"),
     ("mass", "--"), ("velocity", "3 g")],
)  # fmt: skip
def test_numbers_that_are_none(kind: str, text: str) -> None:
    with pytest.raises(InvalidArgument):
        read(kind, text)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["interval", "6313", "--speed", "-3"], "speed_rpm = -3.0"),
        (["interval", "6313", "--speed", "0"], "above 0"),
        (["interval", "6313", "--speed", "nan"], "number"),
        (["interval", "6313", "--speed", "fast"], "fast"),
        (["interval", "--speed", "100"], "designation"),
        (["interval", "6299", "--speed", "100"], "series 62"),
        (["interval", "6313", "--outside-diameter", "40", "--speed", "9"], "more than"),
        (["quantity", "6313", "--gun", "0"], "gun_g_per_stroke"),
        (["quantity", "--type", "thrust_ball", "--bore", "50", "--outside-diameter", "90"], "width_mm"),
        (["viscosity", "--v40", "10", "--v100", "20", "--temperature", "70"], "less than the viscosity at 40"),
        (["life", "6313", "--speed", "1800"], "C/P"),
        (["life", "6313", "--speed", "1800", "--load-ratio", "5", "--reliability", "93"], "reliability_percent"),
        (["grease-life", "NU220", "--speed", "1500", "--temperature", "70"], "ball bearing"),
        (["compatibility", "butter", "lithium"], "butter"),
        (["zone", "--velocity", "-1", "--power", "100", "--speed", "1500"], "velocity_mm_s_rms"),
        (["suitability", "6313", "--speed", "1800", "--ring-temperature", "70", "--din", "KP9"], "DIN 51502"),
        (["grease"], "a code"),
        (["vibration"], "a velocity"),
        (["dimensions", "HK2020"], "understood"),
    ],
)
def test_errors_are_one_clear_line(arguments: list[str], said: str) -> None:
    result = CliRunner().invoke(calc, arguments)
    assert result.exit_code == 2
    assert said in result.output
    assert "Traceback" not in result.output
    assert result.output.count("Error:") == 1


def test_quantity_of_the_worked_example() -> None:
    page = quantity(bearing("6313"), mass_kg=2.1, gun_g_per_stroke=1.3)
    values = {item.name: item.value for item in page.results}
    assert values["grease_g"] == pytest.approx(23.1)  # references section 2
    assert values["first_fill_g"] == pytest.approx(34.9, abs=0.05)
    assert values["strokes"] == 18


def test_strokes_need_calibration() -> None:
    page = quantity(bearing("6313"))
    assert "strokes" not in {item.name for item in page.results}
    assert any("calibrated gun" in warning for warning in page.warnings)


def test_groove_by_suffix() -> None:
    page = quantity(bearing("22220 E/W33"))
    assert page.results[0].value == pytest.approx(0.002 * 180 * 46)


def test_thrust_bearing_by_height() -> None:
    page = quantity(bearing("51110"))
    assert page.results[0].value == pytest.approx(0.005 * 70 * 14)
    assert "G = 0.005·D·H" in as_text(page)


def test_kappa_of_the_worked_example() -> None:
    page = viscosity(100.0, 11.1, 70.0, bearing=bearing("6313"), speed_rpm=1800.0)
    values = {item.name: item.value for item in page.results}
    assert values["viscosity_mm2_s"] == pytest.approx(27.18, abs=0.005)  # references section 3
    assert values["kappa"] == pytest.approx(2.595, abs=5e-4)


def test_modified_life_says_what_it_lacks() -> None:
    page = life(bearing("6313"), 1800.0, 10.0)
    assert page.results[0].value == pytest.approx(9259, abs=1)  # references section 3
    assert any("needs κ" in warning for warning in page.warnings)


def test_grease_life_dates() -> None:
    page = grease_life(bearing("6205-2RS1"), 3000.0, 90.0, limiting_speed_rpm=6000.0, as_of=date(2026, 1, 1))
    values = {item.name: item.value for item in page.results}
    assert values["mean_life_h"] == pytest.approx(3388, abs=1)  # references 1e, x = 0.5, 90 °C
    assert values["expected_date"] == "2026-05-23"  # 3388.4 h / 24 = 141.2 days, rounded up
    assert "2026" in as_text(page)


@pytest.mark.parametrize(
    ("old", "new", "answer"),
    [("lithium", "lithium_complex", "conditional"), ("lithium", "polyurea", "incompatible"),
     ("unknown", "clay", "unknown")],
)  # fmt: skip
def test_compatibility_answers(old: str, new: str, answer: str) -> None:
    assert compatibility(old, new).results[0].value == answer


def test_compatibility_says_which_charts_disagree() -> None:
    page = compatibility("aluminium_complex", "lithium")
    assert [item.value for item in page.methods[0].results] == ["borderline", "incompatible"]
    assert any("disagree" in warning for warning in page.warnings)


def test_unread_suffix_is_a_warning() -> None:
    page = interval(bearing("6313-2R5"), 1800.0)
    assert any("'2R5'" in warning for warning in page.warnings)


def test_unknown_designation_is_typed() -> None:
    with pytest.raises(UnknownDesignation):
        bearing("HK2020")


@pytest.mark.parametrize(
    ("value", "text"),
    [(1234.6, "1,235"), (0.5, "0.5"), (None, "no value"), (True, "yes"), ((0.7, 0.9), "0.7 to 0.9"), ((1.0, 1.0), "1"),
     ("x", "x"), (0.00617, "0.00617"), (-1500.0, "-1,500")],
)  # fmt: skip
def test_number_text(value: object, text: str) -> None:
    assert number_text(value) == text  # type: ignore[arg-type]


def test_empty_page() -> None:
    assert as_text(Working("Empty", ())) == "Empty\n=====\n"
    assert as_json(Working("Empty", ()))["methods"] == []
