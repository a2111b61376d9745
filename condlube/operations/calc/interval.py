"""The relubrication interval, worked: manual first, then three methods side by side."""

from __future__ import annotations

import numpy as np

from condlube.errors import InvalidArgument
from condlube.lubrication import catalogue, trade
from condlube.lubrication.checks import number
from condlube.lubrication.interval import SideBySide, side_by_side
from condlube.lubrication.life_distribution import L10_PER_L01
from condlube.lubrication.result import Result
from condlube.lubrication.temperature import HOUSING_TO_RING_K, facilities_handbook_multiplier
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text, scalar

MANUAL_BASES = ("L01", "L10", "calendar", "unknown")
SHORT_H = 100.0
HANDBOOK = "M.J. Neale (ed.), The Tribology Handbook, 2nd ed., section A20, Table 20.4 (formula, design factor)"
CATALOGUE = "bearing maker's catalogue, Rolling bearings, section Lubrication, relubrication intervals"
REDUCTION = "Rolling Bearing Lubrication (WL 81 115), chapter 4.1; GfT worksheet 3 (factors from memory)"


def interval(
    bearing: Bearing,
    speed_rpm: float,
    *,
    housing_temperature_degc: float = 60.0,
    ring_temperature_degc: float | None = None,
    load_ratio_c_p: float = 15.0,
    contamination: str = "light_nonabrasive",
    moisture: str = "dry",
    velocity_mm_s_rms: float = 0.0,
    orientation: str = "horizontal",
    rotating_ring: str = "inner",
    air_flow: str = "none",
    manual_interval_h: float | None = None,
    manual_basis: str = "unknown",
) -> Working:
    """Relubrication interval of one bearing; the ring is 10 K above the housing unless given."""
    ring = housing_temperature_degc + HOUSING_TO_RING_K if ring_temperature_degc is None else ring_temperature_degc
    sides = side_by_side(
        speed_rpm,
        bearing.bore_mm,
        bearing.outside_diameter_mm,
        bearing_type=bearing.bearing_type,
        housing_temperature_degc=housing_temperature_degc,
        ring_temperature_degc=ring,
        load_ratio_c_p=load_ratio_c_p,
        contamination=contamination,
        moisture=moisture,
        velocity_mm_s_rms=velocity_mm_s_rms,
        orientation=orientation,
        rotating_ring=rotating_ring,
        seal=bearing.seal,
        air_flow=air_flow,
    )
    inputs = (
        *bearing.items,
        Item("speed_rpm", "speed", speed_rpm, "r/min", "n"),
        Item("housing_temperature_degc", "housing temperature", housing_temperature_degc, "°C", "t_h"),
        Item("ring_temperature_degc", "ring temperature", ring, "°C", "t",
             "" if ring_temperature_degc is not None else "housing + 10 K"),
        Item("load_ratio_c_p", "load ratio", load_ratio_c_p, "", "C/P"),
        Item("contamination", "contamination", contamination),
        Item("moisture", "moisture", moisture),
        Item("velocity_mm_s_rms", "vibration velocity", velocity_mm_s_rms, "mm/s rms", "v"),
        Item("orientation", "bore centreline", orientation),
        Item("rotating_ring", "rotating ring", rotating_ring),
    )  # fmt: skip
    classes = {
        "temperature": f"housing {number_text(housing_temperature_degc)} °C",
        "contamination": contamination,
        "moisture": moisture,
        "vibration": f"{number_text(velocity_mm_s_rms)} mm/s rms = {velocity_mm_s_rms * 2**0.5 / 25.4:.3g} in/s peak",
        "position": orientation,
        "design": bearing.bearing_type,
    }
    manual = None if manual_interval_h is None else _manual_page(manual_interval_h, manual_basis)
    return Working(
        "Relubrication interval",
        inputs,
        (
            *(() if manual is None else (manual,)),
            _trade_page(sides, speed_rpm, bearing.bore_mm, classes),
            _catalogue_page(sides, bearing, ring, orientation, rotating_ring),
            _reduction_page(sides),
        ),
        _results(sides, manual),
        (*bearing.warnings, *_warnings(sides, ring, velocity_mm_s_rms, contamination, moisture)),
    )


def _manual_page(interval_h: float, basis: str) -> Method:
    if basis not in MANUAL_BASES:
        raise InvalidArgument("manual_basis", basis, f"one of {', '.join(MANUAL_BASES)}")
    hours = float(number("interval_h", interval_h))
    divisor = L10_PER_L01 if basis == "L10" else 1.0
    return Method(
        "Machine manual",
        "the machine's manual, as entered in the register",
        factors=(Item("manual_interval_h", "interval of the manual", hours, "h", "T_m", f"basis {basis}"),),
        formula=("T = T_m / 2.7 (L10 to L01)",) if basis == "L10" else ("T = T_m",),
        substituted=(f"T = {number_text(hours)} / {divisor:g} = {number_text(hours / divisor)} h",),
        results=(Item("interval_h", "interval", hours / divisor, "h", "T"),),
        notes=("calendar basis: a due date beside the running hours",) if basis == "calendar" else (),
    )


def _trade_page(sides: SideBySide, speed: float, bore: float, classes: dict[str, str]) -> Method:
    part = sides.trade
    values = {name: float(value) for name, value in part.factors.items()}
    k, hours = float(part.k), scalar(part.interval)
    slow, fixed = 14e6 / (speed * bore**0.5), 4.0 * bore
    terms = f"14,000,000 / ({number_text(speed)} × {bore**0.5:.4f}) = {number_text(slow)};  4·d = {number_text(fixed)}"
    answer = f"T = {number_text(k)} × ({number_text(slow)} − {number_text(fixed)}) = {number_text(hours)} h"
    return Method(
        "Trade formula",
        f"{HANDBOOK}; L. Leugner, The Practical Handbook of Machinery Lubrication (six factors, from memory)",
        factors=(
            *(Item(f"factor_{name}", name, value, "", f"F{name[0]}", classes[name]) for name, value in values.items()),
            Item("zero_speed_rpm", "speed where T reaches zero", float(trade.zero_speed(bore)), "r/min", "n0"),
        ),
        formula=("T = K · (14·10⁶ / (n·√d) − 4·d),  K = Ft·Fc·Fm·Fv·Fp·Fd",),
        substituted=(
            f"K = {' × '.join(number_text(value) for value in values.values())} = {number_text(k)}",
            terms,
            *(() if hours is None else (answer,)),
        ),
        results=(Item("interval_h", "interval", hours, "h", "T"),),
        outside=outside_text(int(part.interval.reason)),
    )


def _catalogue_page(sides: SideBySide, bearing: Bearing, ring: float, orientation: str, rotating_ring: str) -> Method:
    part = sides.catalogue
    a, bf, multiplier = float(part.speed_factor), float(part.bearing_factor), float(part.multiplier)
    base, hours = scalar(part.base), scalar(part.interval)
    outer = rotating_ring == "outer"
    diameter = bearing.outside_diameter_mm if outer else bearing.mean_diameter_mm
    anchors = ", ".join(f"{number_text(x)}: {number_text(h)} h" for x, h in catalogue.DIAGRAM.items())
    loads = ", ".join(f"{factor:g} at C/P {ratio:g}" for ratio, factor in catalogue.DIAGRAM_LOAD.items())
    large = 0.5 if bearing.bore_mm > catalogue.LARGE_BORE_MM else 1.0
    working = () if base is None else (
        f"m = 2^((70 − {number_text(ring)})/15) = {2 ** ((70 - ring) / 15):.4g}, used {number_text(multiplier)}",
        f"T = {number_text(base)} × {number_text(multiplier)} = {number_text(base * multiplier)} h",
    )  # fmt: skip
    return Method(
        "Catalogue rule",
        CATALOGUE,
        factors=(
            Item("diameter_mm", "outer ring turns: D" if outer else "mean diameter (d + D)/2", diameter, "mm", "dm"),
            Item("speed_factor", "speed factor n·dm", a, "mm/min", "A"),
            Item("bearing_factor", "bearing factor", bf, "", "bf"),
            Item("speed_factor_bf", "where to read the diagram", a * bf, "mm/min", "A·bf"),
            Item("position_factor", "position", catalogue.POSITION[orientation], note="within T70"),
            Item("bore_factor", "bore above 300 mm", large, note="within T70"),
            Item("base_interval_h", "interval at 70 °C", base, "h", "T70", "diagram approximated, to a factor of 2"),
            Item("temperature_multiplier", "70 °C rule", multiplier, "", "m"),
        ),
        formula=("T = T70 · m, at most 30,000 h;  m = 2^((70 − t)/15), at most 2;  L10 = 2.7·T",),
        substituted=working,
        results=(
            Item("interval_h", "interval (L01 grease life)", hours, "h", "T", "at most 30,000 h"),
            Item("l10_h", "L10 grease life", scalar(part.l10), "h", "L10"),
        ),
        outside=outside_text(int(part.interval.reason)),
        notes=(
            f"T70 is read off anchors {anchors}, the logarithm linear between them, times "
            f"{loads}, then position and bore",
            'clean, dry and quiet: for dirt, water and high vibration the rule says "reduce" without a number',
        ),
    )


def _reduction_page(sides: SideBySide) -> Method:
    part = sides.reduction
    shortest, longest = scalar(part.shortest), scalar(part.longest)
    ranges = {name: (float(factor.low), float(factor.high)) for name, factor in part.ranges.items()}
    base = scalar(part.base)
    lows, highs = (" × ".join(number_text(pair[end]) for pair in ranges.values()) for end in (0, 1))
    working = () if shortest is None else (
        f"shortest: {number_text(base)} × {lows} = {number_text(shortest)} h",
        f"longest:  {number_text(base)} × {highs} = {number_text(longest)} h",
    )  # fmt: skip
    return Method(
        "Reduction factors",
        REDUCTION,
        factors=(
            Item("base_interval_h", "interval at 70 °C, light load", base, "h", "T70", "from the catalogue diagram"),
            *(
                Item(name.split()[0], name[3:], None if np.isnan(low) else (low, high), "", name[:2])
                for name, (low, high) in ranges.items()
            ),
        ),
        formula=("T = T70 · f1·f2·f3·f4·f5·f6, each factor a range",),
        substituted=working,
        results=(
            Item("shortest_h", "shortest", shortest, "h"),
            Item("longest_h", "longest", longest, "h"),
        ),
        outside=outside_text(int(part.shortest.reason)),
    )


def _results(sides: SideBySide, manual: Method | None) -> tuple[Item, ...]:
    def line(name: str, label: str, interval: Result, note: str = "") -> Item:
        return Item(name, label, scalar(interval), "h", "", "outside range" if interval.outside.any() else note)

    rows = [
        line("trade_h", "trade formula", sides.trade.interval),
        line("catalogue_h", "catalogue rule", sides.catalogue.interval, "L01, clean and dry"),
        line("reduction_shortest_h", "reduction factors, shortest", sides.reduction.shortest),
        line("reduction_longest_h", "reduction factors, longest", sides.reduction.longest),
    ]
    if manual is not None:
        rows.insert(0, Item("manual_h", "machine manual", manual.results[0].value, "h", "", "takes precedence"))
    spread = float(sides.spread)
    if not np.isnan(spread):
        rows.append(Item("spread", "longest over shortest method", spread, "times"))
    return tuple(rows)


def _warnings(sides: SideBySide, ring: float, velocity: float, contamination: str, moisture: str) -> tuple[str, ...]:
    trade_h = scalar(sides.trade.interval) or np.nan
    stricter = float(facilities_handbook_multiplier(ring))
    warnings = [
        (trade_h > catalogue.CAP_H, "trade formula above 30,000 h: plan with 30,000 h at most"),
        (trade_h < SHORT_H, "under 100 h: consider an automatic lubricator or oil"),
        (float(sides.spread) > 3.0, "the methods differ more than threefold: ask the maker, start short and watch"),
        (ring > 100.0, "ring above 100 °C, the limit of common greases: check the grease's temperature range"),
        (ring > 70.0, f"a stricter published rule (MIL-HDBK-1164: halve per 14 K above 65 °C) has m = {stricter:.3g}"),
        (velocity > 7.1, "high vibration: find its cause first"),
        (
            contamination != "light_nonabrasive" or moisture != "dry",
            "dirt or water: the catalogue answer does not include it, the other two do",
        ),
    ]
    return tuple(text for condition, text in warnings if condition)
