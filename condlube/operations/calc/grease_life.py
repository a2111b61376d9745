"""Grease life of a sealed or shielded bearing, worked, and the date on which it is likely to end."""

from __future__ import annotations

from datetime import date

import numpy as np

from condlube.errors import InvalidArgument
from condlube.lubrication.catalogue import speed_factor, speed_factor_limit
from condlube.lubrication.classes import BALL_TYPES
from condlube.lubrication.grease_life import (
    EQUATIONS,
    LOWEST_DEGC,
    LOWEST_SPEED_SHARE,
    median_grease_life,
    sealed_grease_life,
)
from condlube.lubrication.life_distribution import SLOPE, life_at
from condlube.lubrication.replacement import end_of_grease_life
from condlube.lubrication.result import Result
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text, scalar


def grease_life(
    bearing: Bearing,
    speed_rpm: float,
    temperature_degc: float,
    *,
    limiting_speed_rpm: float | None = None,
    grease: str = "general",
    load_share_p_c: float = 0.1,
    elapsed_h: float = 0.0,
    as_of: date | None = None,
    running_h_per_day: float = 24.0,
    horizon_days: float = 90.0,
) -> Working:
    """Grease life of a sealed or shielded ball bearing; with ``as_of`` also dates and probabilities."""
    if bearing.bearing_type not in BALL_TYPES:
        raise InvalidArgument("bearing_type", bearing.bearing_type, f"a ball bearing ({', '.join(BALL_TYPES)})")
    share, how = _speed_share(bearing, speed_rpm, limiting_speed_rpm)
    sealed = sealed_grease_life(share, temperature_degc, grease, load_share_p_c)
    arrhenius = median_grease_life(temperature_degc)
    inputs = [
        *bearing.items,
        Item("speed_rpm", "speed", speed_rpm, "r/min", "n"),
        Item("temperature_degc", "bearing temperature", temperature_degc, "°C", "T"),
        Item("grease", "grease", grease),
        Item("load_share_p_c", "load", load_share_p_c, "", "P/C"),
        Item("speed_share", "speed over limiting speed", share, "", "x", how),
    ]
    methods = [_sealed_page(share, temperature_degc, grease, sealed), _arrhenius_page(temperature_degc, arrhenius)]
    results = [
        Item("mean_life_h", "mean grease life", scalar(sealed), "h", "t", "outside range" if sealed.outside else ""),
        Item("median_life_h", "median by temperature alone", scalar(arrhenius), "h", "L50"),
    ]
    if as_of is not None:
        inputs += [
            Item("elapsed_h", "running hours since fitted", elapsed_h, "h"),
            Item("as_of", "as of", as_of.isoformat()),
            Item("running_h_per_day", "running hours a day", running_h_per_day, "h"),
        ]
        page = _date_page(sealed, elapsed_h, as_of, running_h_per_day, horizon_days)
        methods.append(page)
        results += page.results
    warnings = [*bearing.warnings, *_warnings(bearing, limiting_speed_rpm, sealed, arrhenius)]
    return Working("Grease life", tuple(inputs), tuple(methods), tuple(results), tuple(warnings))


def _speed_share(bearing: Bearing, speed: float, limiting: float | None) -> tuple[float, str]:
    if limiting is not None:
        if not limiting > 0:
            raise InvalidArgument("limiting_speed_rpm", limiting, "a positive speed, r/min")
        return speed / limiting, f"limiting speed {number_text(limiting)} r/min"
    a = float(speed_factor(speed, bearing.bore_mm, bearing.outside_diameter_mm))
    limit = float(speed_factor_limit(bearing.bearing_type, 15.0))
    return a / limit, f"n·dm = {number_text(a)} over the grease limit {number_text(limit)} mm/min"


def _sealed_page(share: float, temperature: float, grease: str, life: Result) -> Method:
    e, hours = EQUATIONS[grease], scalar(life)
    x, t = max(share, LOWEST_SPEED_SHARE), max(temperature, LOWEST_DEGC)
    return Method(
        "Mean life, sealed ball bearing",
        "bearing maker's catalogue E1102, grease life of sealed ball bearings (coefficients from memory)",
        formula=(
            f"log10 t = {e.a} − {e.b}·x − ({e.c} − {e.e}·x)·T",
            f"x from {LOWEST_SPEED_SHARE:g} to 1, T from {LOWEST_DEGC:g} to {e.hottest_degc:g} °C, P/C to 0.1;"
            " a lower x or T counts as the lowest",
        ),
        substituted=()
        if hours is None
        else (
            f"log10 t = {e.a} − {e.b} × {number_text(x)} − ({e.c} − {e.e} × {number_text(x)}) × {number_text(t)}"
            f" = {np.log10(hours):.4f}",
        ),
        results=(
            Item("mean_life_h", "mean life", hours, "h", "t", "half of the bearings reach it"),
            Item("l10_h", "life that 90 % reach", None if hours is None else float(life_at(10, hours, 50)), "h", "L10"),
        ),
        outside=outside_text(int(life.reason)),
    )


def _arrhenius_page(temperature: float, life: Result) -> Method:
    hours = scalar(life)
    return Method(
        "Median life by temperature",
        "E.R. Booser, Grease life forecast for ball bearings, 1974 (coefficients from memory)",
        formula=("log10 L50 = −2.60 + 2450/(273 + T) − 0.301·S, with S = 0: premium grease, slow, lightly loaded",),
        substituted=()
        if hours is None
        else (f"log10 L50 = −2.60 + 2450/{273 + temperature:g} = {np.log10(hours):.4f}",),
        results=(Item("median_life_h", "median life", hours, "h", "L50"),),
        outside=outside_text(int(life.reason)),
    )


def _date_page(life: Result, elapsed: float, as_of: date, per_day: float, horizon: float) -> Method:
    end = end_of_grease_life(life, elapsed, np.datetime64(as_of), per_day, horizon)
    known = not life.outside

    def day(value: np.ndarray) -> str | None:
        return str(value) if known else None

    return Method(
        "When it ends",
        f"Weibull distribution of grease life with slope {SLOPE:.3f} (L10 = 2.7·L01), mean taken as median",
        formula=("F(t) = 1 − 0.5^((t/t50)^2.366);  days = (life − hours so far) / hours a day",),
        substituted=()
        if not known
        else tuple(
            f"{percent:g} %: ({number_text(hours)} − {number_text(elapsed)}) / {number_text(per_day)}"
            f" = {number_text((hours - elapsed) / per_day)} days"
            for percent, hours in ((p, float(life_at(p, life.value, 50))) for p in (10.0, 50.0))
        ),
        results=(
            Item("early_date", "one bearing in ten by", day(end.early)),
            Item("expected_date", "half of the bearings by", day(end.expected)),
            Item("failed_share", "share ended by now", float(end.failed) if known else None, "", "F"),
            Item("failing_share", f"of the rest, within {horizon:g} days", float(end.failing) if known else None),
        ),
        outside=outside_text(int(life.reason)),
        notes=("plan the replacement at the early date where a failure is costly",),
    )


def _warnings(bearing: Bearing, limiting: float | None, sealed: Result, arrhenius: Result) -> list[str]:
    one, other = scalar(sealed), scalar(arrhenius)
    found = []
    if limiting is None:
        found.append("limiting speed not given: estimated from the grease limit of n·dm")
    if bearing.seal == "open":
        found.append("open bearing: the equations are for sealed and shielded ones")
    if one and other and not 0.5 <= one / other <= 2.0:
        found.append(f"the two equations differ {max(one, other) / min(one, other):.1f} times")
    return found
