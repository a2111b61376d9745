"""Viscosity at temperature, index, grade and κ, worked."""

from __future__ import annotations

import math

from condlube.lubrication.grades import viscosity_class
from condlube.lubrication.viscosity import viscosity_at
from condlube.lubrication.viscosity_index import reference_viscosities, viscosity_index
from condlube.lubrication.viscosity_ratio import kappa_meaning, rated_viscosity, viscosity_ratio
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text, scalar


def viscosity(
    viscosity_40_mm2_s: float,
    viscosity_100_mm2_s: float,
    temperature_degc: float,
    *,
    bearing: Bearing | None = None,
    speed_rpm: float | None = None,
) -> Working:
    """Base oil viscosity at a temperature; with bearing and speed also the viscosity ratio κ."""
    inputs = [
        Item("viscosity_40_mm2_s", "viscosity at 40 °C", viscosity_40_mm2_s, "mm²/s", "ν40"),
        Item("viscosity_100_mm2_s", "viscosity at 100 °C", viscosity_100_mm2_s, "mm²/s", "ν100"),
        Item("temperature_degc", "temperature", temperature_degc, "°C", "t"),
    ]
    page = temperature_page(viscosity_40_mm2_s, viscosity_100_mm2_s, temperature_degc)
    methods = [page, _index_page(viscosity_40_mm2_s, viscosity_100_mm2_s)]
    results = [item for method in methods for item in method.results]
    warnings: list[str] = []
    actual = page.results[0].value
    if bearing is not None and speed_rpm is not None and isinstance(actual, float):
        inputs += [*bearing.items, Item("speed_rpm", "speed", speed_rpm, "r/min", "n")]
        ratio = kappa_page(actual, speed_rpm, bearing.mean_diameter_mm)
        methods.append(ratio)
        results += ratio.results
        kappa = ratio.results[-1].value
        if isinstance(kappa, float) and not 1.0 <= kappa <= 4.0:
            warnings.append(f"κ {kappa_meaning(kappa)}")
    return Working("Viscosity", tuple(inputs), tuple(methods), tuple(results), tuple(warnings))


def temperature_page(v40: float, v100: float, temperature: float) -> Method:
    """The viscosity at a temperature, worked."""
    actual = viscosity_at(temperature, v40, v100)
    value = scalar(actual)
    substituted: tuple[str, ...] = ()
    if value is not None:
        w40, w100 = (math.log10(math.log10(v + 0.7)) for v in (v40, v100))
        b = (w40 - w100) / (math.log10(373.15) - math.log10(313.15))
        a = w40 + b * math.log10(313.15)
        w = a - b * math.log10(temperature + 273.15)
        substituted = (
            f"B = (log log {v40 + 0.7:g} − log log {v100 + 0.7:g}) / (log 373.15 − log 313.15) = {b:.4f}",
            f"A = log log {v40 + 0.7:g} + B·log 313.15 = {a:.4f}",
            f"log log (ν + 0.7) = {a:.4f} − {b:.4f} × log {temperature + 273.15:g} = {w:.5f}",
            f"ν = 10^(10^{w:.5f}) − 0.7 = {number_text(value)} mm²/s",
        )
    return Method(
        "Viscosity at temperature",
        "ASTM D341, viscosity-temperature charts for liquid petroleum products",
        formula=("log10 log10 (ν + 0.7) = A − B·log10 T,  T = t + 273.15",),
        substituted=substituted,
        results=(Item("viscosity_mm2_s", "viscosity at temperature", value, "mm²/s", "ν"),),
        outside=outside_text(int(actual.reason)),
    )


def _index_page(v40: float, v100: float) -> Method:
    index, grade = viscosity_index(v40, v100), viscosity_class(v40)
    value, name = scalar(index), str(grade.grade)
    return Method(
        "Viscosity index and class",
        "ASTM D2270 (index, equations of its appendix); ISO 3448 (class, midpoint ± 10 % at 40 °C)",
        factors=()
        if value is None
        else tuple(
            Item(name, f"reference oil of index {of}", float(reference), "mm²/s", symbol)
            for name, of, symbol, reference in zip(
                ("reference_l", "reference_h"), (0, 100), "LH", reference_viscosities(v100), strict=True
            )
        ),
        formula=("VI = 100·(L − ν40)/(L − H) to 100;  (10^N − 1)/0.00715 + 100 above, N = log(H/ν40)/log ν100",),
        results=(
            Item("viscosity_index", "viscosity index", None if value is None else round(value), "", "VI"),
            Item("iso_vg", "ISO viscosity class", f"VG {name}" if name else "between two classes"),
        ),
        outside=outside_text(int(index.reason)),
    )


def kappa_page(actual: float, speed: float, pitch: float) -> Method:
    """Rated viscosity and κ, worked."""
    rated = float(rated_viscosity(speed, pitch))
    kappa = float(viscosity_ratio(actual, rated))
    slow = speed < 1000.0
    law = "45,000·n^−0.83·dm^−0.5" if slow else "4,500·n^−0.5·dm^−0.5"
    powers = f"{number_text(speed)}^{-0.83 if slow else -0.5} × {number_text(pitch)}^-0.5"
    numbers = f"{'45,000' if slow else '4,500'} × {powers}"
    return Method(
        "Viscosity ratio",
        "ISO 281:2007, 9.3.3.2.1 (equations from memory); catalogue diagrams differ by up to 20 %",
        factors=(Item("mean_diameter_mm", "mean diameter", pitch, "mm", "dm"),),
        formula=(f"ν1 = {law}  ({'below' if slow else 'from'} 1,000 r/min);  κ = ν/ν1",),
        substituted=(
            f"ν1 = {numbers} = {number_text(rated)} mm²/s",
            f"κ = {number_text(actual)} / {number_text(rated)} = {number_text(kappa)}",
        ),
        results=(
            Item("rated_viscosity_mm2_s", "rated viscosity", rated, "mm²/s", "ν1"),
            Item("kappa", "viscosity ratio", kappa, "", "κ", kappa_meaning(kappa)),
        ),
    )
