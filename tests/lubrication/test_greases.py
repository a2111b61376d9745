"""Compatibility, codes, grades and suitability."""

from __future__ import annotations

import numpy as np
import pytest

from condlube.errors import InvalidArgument
from condlube.lubrication import grades, grease_codes
from condlube.lubrication.compatibility import (
    ADVICE,
    BASE_OILS,
    CHARTS,
    OIL_CELLS,
    THICKENERS,
    Mix,
    charts_disagree,
    compatibility,
)
from condlube.lubrication.suitability import NLGI_VALUE, TYPICAL_DEGC, Verdict, suitability
from condlube.schema import words


@pytest.mark.parametrize("chart", CHARTS)
def test_charts_are_symmetrical(chart: str) -> None:
    np.testing.assert_array_equal(CHARTS[chart], CHARTS[chart].T)


def test_oil_chart_is_symmetrical() -> None:
    np.testing.assert_array_equal(OIL_CELLS, OIL_CELLS.T)


@pytest.mark.parametrize(
    ("old", "new"),
    [("aluminium_complex", "lithium"), ("calcium", "lithium"), ("calcium_complex", "lithium_complex"),
     ("calcium_complex", "polyurea"), ("calcium", "clay")],
)  # fmt: skip
def test_published_disagreements_are_said(old: str, new: str) -> None:
    """References section 4: pairs on which the two charts differ; the severe cell counts."""
    assert charts_disagree(old, new)
    found = compatibility(old, new)
    assert found.answer in (Mix.CONDITIONAL, Mix.INCOMPATIBLE)
    if found.answer == Mix.CONDITIONAL:
        assert found.borderline


@pytest.mark.parametrize(
    ("old", "new", "answer"),
    [
        ("lithium", "polyurea", Mix.INCOMPATIBLE), ("lithium", "lithium_complex", Mix.CONDITIONAL),
        ("lithium", "lithium", Mix.CONDITIONAL), ("unknown", "lithium", Mix.UNKNOWN), ("", "", Mix.UNKNOWN),
        ("lithium", "", Mix.UNKNOWN), ("barium", "barium_complex", Mix.UNKNOWN),
        ("sodium", "lithium", Mix.INCOMPATIBLE),
        ("sodium", "polyurea_shear_stable", Mix.UNKNOWN), ("aluminium_complex", "lithium_complex", Mix.CONDITIONAL),
        ("clay", "polyurea", Mix.INCOMPATIBLE), ("calcium_sulfonate_complex", "polyurea", Mix.INCOMPATIBLE),
    ],
)  # fmt: skip
def test_answers(old: str, new: str, answer: Mix) -> None:
    assert compatibility(old, new).answer == answer
    assert compatibility(new, old).answer == answer


def test_no_pair_is_plainly_compatible() -> None:
    old, new = np.meshgrid(THICKENERS, THICKENERS)
    assert not (compatibility(old, new).answer == Mix.SAME).any()


def test_same_product_alone_is_same() -> None:
    assert compatibility("clay", "clay", same_product=True).answer == Mix.SAME
    with pytest.raises(InvalidArgument, match="same_product"):
        compatibility("clay", "clay", same_product="yes")


@pytest.mark.parametrize("oil", [oil for oil in BASE_OILS if oil != "pfpe"])
def test_perfluorinated_oil_clashes(oil: str) -> None:
    found = compatibility("lithium", "lithium", base_oil_in_service=oil, base_oil_assigned="pfpe")
    assert found.answer == Mix.INCOMPATIBLE


def test_oils_do_not_help_an_unknown_thickener() -> None:
    found = compatibility("unknown", "lithium", base_oil_in_service="mineral", base_oil_assigned="mineral")
    assert found.answer == Mix.UNKNOWN
    clash = compatibility("unknown", "lithium", base_oil_in_service="silicone", base_oil_assigned="mineral")
    assert clash.answer == Mix.INCOMPATIBLE


def test_every_answer_has_advice() -> None:
    assert set(ADVICE) == set(Mix)


def test_the_registers_words_are_known() -> None:
    assert set(words.THICKENERS) <= set(THICKENERS) == set(TYPICAL_DEGC)
    assert words.BASE_OILS == BASE_OILS
    assert set(words.NLGI_NUMBERS) <= set(NLGI_VALUE)


@pytest.mark.parametrize("code", ["", "KP2", "KP2Z-20", "2K-20", "KP7K-20", "K P 2 K -200", 5, None])
def test_not_a_din_code(code: object) -> None:
    with pytest.raises(InvalidArgument, match="din_code"):
        grease_codes.parse_din(code)  # type: ignore[arg-type]


@pytest.mark.parametrize("code", ["", "KP2K-20", "ISO-L-XZCEB2", "ISO-L-XBCEB", 5])
def test_not_an_iso_code(code: object) -> None:
    with pytest.raises(InvalidArgument, match="iso_code"):
        grease_codes.parse_iso(code)  # type: ignore[arg-type]


@pytest.mark.parametrize("code", ["KP2K-20", "KP 2 K-20", "kp2k-20", " KP2K −20 "])
def test_din_spellings(code: str) -> None:
    found = grease_codes.parse_din(code)
    assert (found.extreme_pressure, found.nlgi, found.upper_degc, found.lower_degc) == (True, "2", 120.0, -20.0)


def test_open_bounds_are_none() -> None:
    assert grease_codes.parse_din("KFK2U-20").upper_degc is None
    assert grease_codes.parse_iso("ISO-L-XEGEB2").upper_degc is None
    assert grease_codes.parse_din("K2K").lower_degc is None


def test_gaps_between_grades_are_real() -> None:
    assert str(grades.nlgi_number(300).grade) == ""
    assert str(grades.viscosity_class(120).grade) == ""


def _suits(**changes: object) -> tuple[dict[str, Verdict], Verdict]:
    call: dict[str, object] = {
        "speed_rpm": 1800.0, "bore_mm": 65.0, "outside_diameter_mm": 140.0, "bearing_type": "deep_groove_ball",
        "ring_temperature_degc": 70.0, "thickener": "lithium_complex", "viscosity_40_mm2_s": 100.0,
        "viscosity_100_mm2_s": 11.1, "extreme_pressure": 0, "nlgi": "2", **changes,
    }  # fmt: skip
    found = suitability(**call)  # type: ignore[arg-type]
    return {aspect.name: Verdict(int(aspect.verdict)) for aspect in found.aspects}, Verdict(int(found.verdict))


def test_a_good_choice_is_right() -> None:
    aspects, verdict = _suits()
    assert set(aspects.values()) == {Verdict.RIGHT}
    assert verdict == Verdict.RIGHT


@pytest.mark.parametrize(
    ("changes", "aspect", "expected"),
    [
        ({"speed_rpm": 6000.0}, "speed factor", Verdict.WRONG),
        ({"temperature_max_degc": 60.0}, "highest temperature", Verdict.WRONG),
        ({"thickener": "calcium"}, "highest temperature", Verdict.WRONG),
        ({"start_temperature_degc": -40.0}, "lowest temperature", Verdict.WRONG),
        ({"ring_temperature_degc": 145.0, "speed_rpm": 400.0}, "viscosity ratio", Verdict.WRONG),
        (
            {"ring_temperature_degc": 145.0, "speed_rpm": 400.0, "extreme_pressure": 1},
            "viscosity ratio",
            Verdict.BORDERLINE,
        ),
        ({"ring_temperature_degc": 30.0}, "viscosity ratio", Verdict.BORDERLINE),
        ({"viscosity_100_mm2_s": np.nan}, "viscosity ratio", Verdict.CANNOT_TELL),
        ({"load_ratio_c_p": 7.0}, "EP additives", Verdict.BORDERLINE),
        ({"load_ratio_c_p": 7.0, "extreme_pressure": np.nan}, "EP additives", Verdict.CANNOT_TELL),
        ({"load_ratio_c_p": 7.0, "extreme_pressure": 1}, "EP additives", Verdict.RIGHT),
        ({"nlgi": "4"}, "consistency", Verdict.WRONG),
        ({"nlgi": ""}, "consistency", Verdict.CANNOT_TELL),
        ({"nlgi": "1", "orientation": "vertical"}, "consistency", Verdict.BORDERLINE),
        ({"nlgi": "0", "orientation": "vertical"}, "consistency", Verdict.WRONG),
        ({"thickener": "sodium", "moisture": "water"}, "water", Verdict.WRONG),
        ({"thickener": "sodium", "moisture": "humid"}, "water", Verdict.BORDERLINE),
        ({"thickener": "unknown", "moisture": "water"}, "water", Verdict.CANNOT_TELL),
        ({"thickener": "unknown"}, "highest temperature", Verdict.CANNOT_TELL),
    ],
)
def test_aspects(changes: dict[str, object], aspect: str, expected: Verdict) -> None:
    aspects, verdict = _suits(**changes)
    assert aspects[aspect] == expected
    assert verdict == max(aspects.values())


def test_a_wrong_aspect_outweighs_what_is_unknown() -> None:
    _, verdict = _suits(thickener="unknown", speed_rpm=6000.0)
    assert verdict == Verdict.WRONG


def test_suitability_of_a_fleet() -> None:
    found = suitability(
        speed_rpm=np.linspace(100.0, 6000.0, 50), bore_mm=65.0, outside_diameter_mm=140.0,
        bearing_type="deep_groove_ball", ring_temperature_degc=70.0,
    )  # fmt: skip
    assert found.verdict.shape == (50,)
    assert found.aspects[0].verdict.tolist() == sorted(found.aspects[0].verdict.tolist())
