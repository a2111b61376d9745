"""Grease per relubrication, first fill and strokes, worked."""

from __future__ import annotations

import numpy as np

from condlube.errors import InvalidArgument
from condlube.lubrication import quantity as handbook
from condlube.lubrication.classes import THRUST_TYPES
from condlube.lubrication.result import Result
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text, scalar

HANDBOOK = "M.J. Neale (ed.), The Tribology Handbook, 2nd ed., p. A20.5"
CATALOGUE = "bearing maker's catalogue, Rolling bearings, section Lubrication, grease quantities"


def quantity(
    bearing: Bearing,
    *,
    entry: str | None = None,
    mass_kg: float | None = None,
    gun_g_per_stroke: float | None = None,
    density_g_cm3: float = handbook.GREASE_G_CM3,
    fill_share: float = handbook.COMMON_FILL_SHARE,
) -> Working:
    """Relubrication quantity; with the mass also free space and first fill, with a calibrated gun strokes."""
    if bearing.width_mm is None:
        raise InvalidArgument("width_mm", None, "the width of the bearing (the height of a thrust bearing)")
    way = entry or bearing.entry
    dose = float(handbook.relubrication_quantity(bearing.outside_diameter_mm, bearing.width_mm, way))
    inputs = [*bearing.items, Item("entry", "grease enters from", way)]
    methods, results = [_dose_page(bearing, way, dose)], [*_weights("grease", "per relubrication", dose, "G")]
    warnings = list(bearing.warnings)
    if bearing.seal != "open":
        warnings.append(f"{bearing.seal} bearing: it is not regreased; the quantity is for an open one of its size")
    if mass_kg is not None:
        inputs.append(Item("mass_kg", "mass of the bearing", mass_kg, "kg", "M"))
        volume = handbook.free_volume(bearing.bore_mm, bearing.outside_diameter_mm, bearing.width_mm, mass_kg)
        fill = handbook.first_fill(volume, fill_share, density_g_cm3)
        methods.append(_fill_page(bearing, mass_kg, fill_share, density_g_cm3, volume, fill))
        if not fill.outside:
            results += _weights("first_fill", f"first fill, {fill_share:.0%} of the free space", float(fill.value), "")
            fits = handbook.within_free_space(dose, volume, density_g_cm3)
            warnings += [outside_text(int(fits.reason))] * bool(fits.outside)
    if gun_g_per_stroke is None:
        warnings.append("no strokes without a calibrated gun: weigh ten strokes and give grams per stroke")
    else:
        inputs.append(Item("gun_g_per_stroke", "grease gun", gun_g_per_stroke, "g/stroke"))
        page = _stroke_page(dose, gun_g_per_stroke)
        methods.append(page)
        results.append(page.results[0])
    return Working("Grease quantity", tuple(inputs), tuple(methods), tuple(results), tuple(warnings))


def _weights(name: str, label: str, grams: float, symbol: str) -> tuple[Item, Item]:
    return (
        Item(f"{name}_g", label, grams, "g", symbol),
        Item(f"{name}_oz", "the same in ounces", float(handbook.ounces(grams)), "oz"),
    )


def _dose_page(bearing: Bearing, entry: str, dose: float) -> Method:
    side = entry == "side"
    coefficient = handbook.SIDE_G_PER_MM2 if side else handbook.GROOVE_G_PER_MM2
    outside, width = bearing.outside_diameter_mm, bearing.width_mm or np.nan
    letter = "H" if bearing.bearing_type in THRUST_TYPES else "B"
    inches = coefficient * handbook.INCH_MM**2 / handbook.OUNCE_G
    return Method(
        "Quantity per relubrication",
        HANDBOOK if side else CATALOGUE,
        factors=(Item("coefficient", "from the side" if side else "through the ring", coefficient, "g/mm²"),),
        formula=(f"G = {coefficient:g}·D·{letter}   (in ounces and inches: {inches:.4f}·D·{letter})",),
        substituted=(f"G = {coefficient:g} × {number_text(outside)} × {number_text(width)} = {number_text(dose)} g",),
        results=_weights("grease", "quantity", dose, "G"),
        notes=("trade articles print 0.114 oz for inches, others 0.1 (12 % less)",) if side else (),
    )


def _fill_page(bearing: Bearing, mass: float, share: float, density: float, volume: Result, fill: Result) -> Method:
    space, grams = scalar(volume), scalar(fill)
    bore, outside, width = map(number_text, (bearing.bore_mm, bearing.outside_diameter_mm, bearing.width_mm))
    steel = 1e3 * mass / handbook.STEEL_G_CM3
    ranges = handbook.FILL_SHARE.items()
    envelope = None if space is None else space + steel
    return Method(
        "Free space and first fill",
        CATALOGUE,
        formula=("V = (π/4)·B·(D² − d²)/1000 − M/0.0078;  fill = share·V·density",),
        factors=(
            Item("share", "share of the free space", share),
            Item("density_g_cm3", "density of the grease", density, "g/cm³"),
        ),
        substituted=()
        if space is None
        else (
            f"V = (π/4) × {width} × ({outside}² − {bore}²)/1000 − {number_text(mass)}/0.0078"
            f" = {number_text(envelope)} − {number_text(steel)} = {number_text(space)} cm³",
            f"fill = {number_text(share)} × {number_text(space)} × {number_text(density)} = {number_text(grams)} g",
        ),
        results=(
            Item("free_volume_cm3", "free space", space, "cm³", "V"),
            Item("first_fill_g", "first fill", grams, "g"),
        ),
        outside=outside_text(int(fill.reason)),
        notes=(
            "30 % is common practice; by speed: "
            + ", ".join(f"{name.replace('_', ' ')} {low:.0%} to {high:.0%}" for name, (low, high) in ranges),
            "with a plastic cage the space is slightly overestimated",
        ),
    )


def _stroke_page(dose: float, gun: float) -> Method:
    strokes = handbook.strokes(dose, gun)
    count = scalar(strokes)
    return Method(
        "Strokes",
        "common practice",
        formula=("strokes = G / grams per stroke, to the nearest whole stroke (a half upwards), at least one",),
        substituted=(f"{number_text(dose)} / {number_text(gun)} = {number_text(dose / gun)} → {number_text(count)}",),
        results=(Item("strokes", "strokes", None if count is None else int(count)),),
        outside=outside_text(int(strokes.reason)),
    )
