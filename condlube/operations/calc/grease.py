"""Grease codes and grades, decoded."""

from __future__ import annotations

from condlube.errors import InvalidArgument
from condlube.lubrication.grades import nlgi_number, viscosity_class
from condlube.lubrication.grease_codes import ISO, GreaseCode, parse_din, parse_iso
from condlube.operations.calc.working import Item, Method, Working, outside_text


def grease(code: str = "", penetration_01mm: float | None = None, viscosity_40_mm2_s: float | None = None) -> Working:
    """What a code by DIN 51502 or ISO 6743-9 says; NLGI number of a penetration; ISO VG class of a viscosity."""
    inputs, methods = [], []
    if code:
        inputs.append(Item("code", "code", code))
        methods.append(_code_page(parse_iso(code) if ISO.fullmatch(code.strip().upper()) else parse_din(code)))
    if penetration_01mm is not None:
        inputs.append(Item("penetration_01mm", "worked penetration at 25 °C", penetration_01mm, "0.1 mm"))
        grade = nlgi_number(penetration_01mm)
        item = Item("nlgi", "NLGI number", str(grade.grade) or None)
        source = "ISO 2137; NLGI classification (DIN 51818)"
        methods.append(Method("Consistency", source, results=(item,), outside=outside_text(int(grade.reason))))
    if viscosity_40_mm2_s is not None:
        inputs.append(Item("viscosity_40_mm2_s", "base oil at 40 °C", viscosity_40_mm2_s, "mm²/s", "ν40"))
        grade = viscosity_class(viscosity_40_mm2_s)
        item = Item("iso_vg", "ISO VG", str(grade.grade) or None)
        source = "ISO 3448:1992, midpoint ± 10 %"
        methods.append(Method("Viscosity class", source, results=(item,), outside=outside_text(int(grade.reason))))
    if not methods:
        raise InvalidArgument("code", code, "a code, a penetration or a viscosity")
    results = tuple(item for method in methods for item in method.results)
    return Working("Grease", tuple(inputs), tuple(methods), results)


def _code_page(code: GreaseCode) -> Method:
    return Method(
        f"Code by {code.standard}",
        "DIN 51502:1990 and DIN 51825" if code.standard.startswith("DIN") else "ISO 6743-9:2003 (from memory)",
        results=(
            Item("use", "use", code.use),
            Item("extreme_pressure", "EP or anti-wear additives", code.extreme_pressure),
            Item("solid_lubricant", "solid lubricant", code.solid_lubricant),
            Item("base_oil", "base oil", code.base_oil),
            Item("code_nlgi", "NLGI number", code.nlgi),
            Item("lower_degc", "lowest service temperature", code.lower_degc, "°C",
                 note="not bounded by the code" if code.lower_degc is None else ""),
            Item("upper_degc", "highest service temperature", code.upper_degc, "°C",
                 note="not bounded by the code" if code.upper_degc is None else ""),
            Item("water", "behaviour towards water", code.water),
        ),
    )  # fmt: skip
