"""Whether a grease is right or wrong for a bearing, worked."""

from __future__ import annotations

import numpy as np

from condlube.lubrication.grease_codes import GreaseCode, parse_din, parse_iso
from condlube.lubrication.suitability import Aspect, Verdict
from condlube.lubrication.suitability import suitability as judge
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.viscosity import kappa_page, temperature_page
from condlube.operations.calc.working import Item, Method, Working

SOURCES = {
    "speed factor": "bearing maker's catalogue, recommended limits of n·dm for grease",
    "highest temperature": "the grease's data, else the thickener's typical range (from memory)",
    "lowest temperature": "the grease's data, else the thickener's typical range (from memory)",
    "viscosity ratio": "ISO 281:2007 and ASTM D341; ranges of κ by common handbook guidance",
    "EP additives": "common handbook guidance",
    "consistency": "common practice",
    "water": "common practice",
}


def suitability(
    bearing: Bearing,
    speed_rpm: float,
    ring_temperature_degc: float,
    *,
    start_temperature_degc: float = 10.0,
    load_ratio_c_p: float = 15.0,
    moisture: str = "dry",
    orientation: str = "horizontal",
    thickener: str = "unknown",
    viscosity_40_mm2_s: float | None = None,
    viscosity_100_mm2_s: float | None = None,
    temperature_min_degc: float | None = None,
    temperature_max_degc: float | None = None,
    extreme_pressure: bool | None = None,
    nlgi: str = "",
    din_code: str = "",
    iso_code: str = "",
) -> Working:
    """The aspects of suitability and the verdict; a DIN or ISO code fills in what is not given."""
    codes = [read(code) for read, code in ((parse_din, din_code), (parse_iso, iso_code)) if code]
    for code in codes:
        temperature_max_degc = code.upper_degc if temperature_max_degc is None else temperature_max_degc
        temperature_min_degc = code.lower_degc if temperature_min_degc is None else temperature_min_degc
        extreme_pressure = code.extreme_pressure if extreme_pressure is None else extreme_pressure
        nlgi = nlgi or code.nlgi
    found = judge(
        speed_rpm=speed_rpm,
        bore_mm=bearing.bore_mm,
        outside_diameter_mm=bearing.outside_diameter_mm,
        bearing_type=bearing.bearing_type,
        ring_temperature_degc=ring_temperature_degc,
        start_temperature_degc=start_temperature_degc,
        load_ratio_c_p=load_ratio_c_p,
        moisture=moisture,
        orientation=orientation,
        thickener=thickener,
        viscosity_40_mm2_s=_or_nan(viscosity_40_mm2_s),
        viscosity_100_mm2_s=_or_nan(viscosity_100_mm2_s),
        temperature_min_degc=_or_nan(temperature_min_degc),
        temperature_max_degc=_or_nan(temperature_max_degc),
        extreme_pressure=_or_nan(extreme_pressure),
        nlgi=nlgi,
    )
    inputs = (
        *bearing.items,
        Item("speed_rpm", "speed", speed_rpm, "r/min", "n"),
        Item("ring_temperature_degc", "ring temperature", ring_temperature_degc, "°C", "t"),
        Item("start_temperature_degc", "coldest start", start_temperature_degc, "°C"),
        Item("load_ratio_c_p", "load ratio", load_ratio_c_p, "", "C/P"),
        Item("moisture", "moisture", moisture),
        Item("orientation", "bore centreline", orientation),
        Item("thickener", "thickener", thickener),
        Item("viscosity_40_mm2_s", "base oil at 40 °C", viscosity_40_mm2_s, "mm²/s", "ν40"),
        Item("viscosity_100_mm2_s", "base oil at 100 °C", viscosity_100_mm2_s, "mm²/s", "ν100"),
        Item("nlgi", "NLGI", nlgi or "unknown"),
        *(Item(code.standard.lower().replace(" ", "_"), code.standard, code.text, note=_said(code)) for code in codes),
    )
    verdict = Verdict(int(found.verdict))
    reasons = [aspect.name for aspect in found.aspects if int(aspect.verdict) == verdict and verdict]
    return Working(
        "Grease for this bearing",
        inputs,
        (
            *_kappa_pages(bearing, speed_rpm, ring_temperature_degc, viscosity_40_mm2_s, viscosity_100_mm2_s),
            *(_aspect_page(aspect) for aspect in found.aspects),
        ),
        (Item("verdict", "verdict", _words(verdict), note=", ".join(reasons)),),
        bearing.warnings,
    )


def _kappa_pages(
    bearing: Bearing, speed: float, temperature: float, v40: float | None, v100: float | None
) -> tuple[Method, ...]:
    if v40 is None or v100 is None:
        return ()
    page = temperature_page(v40, v100, temperature)
    actual = page.results[0].value
    return (page, kappa_page(actual, speed, bearing.mean_diameter_mm)) if isinstance(actual, float) else (page,)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else float(value)


def _words(verdict: Verdict) -> str:
    return verdict.name.lower().replace("_", " ")


def _said(code: GreaseCode) -> str:
    upper = "no upper bound" if code.upper_degc is None else f"to {code.upper_degc:g} °C"
    lower = "" if code.lower_degc is None else f"from {code.lower_degc:g} °C "
    additives = ", EP" if code.extreme_pressure else ""
    return f"{lower}{upper}, NLGI {code.nlgi}{additives}; water: {code.water}"


def _aspect_page(aspect: Aspect) -> Method:
    observed, limit = float(aspect.observed), float(aspect.limit)
    factors = [
        Item("observed", "observed", None if np.isnan(observed) else observed, aspect.unit),
        Item("limit", "limit", None if np.isnan(limit) else limit, aspect.unit),
    ]
    return Method(
        aspect.name[0].upper() + aspect.name[1:],
        SOURCES[aspect.name],
        factors=tuple(item for item in factors if item.value is not None),
        results=(Item("verdict", "verdict", _words(Verdict(int(aspect.verdict))), note=f"asked: {aspect.meaning}"),),
        notes=() if not np.isnan(observed) else ("not known for this grease",),
    )
