"""Fatigue life, worked: L10h and, where the lubricant is known, the modified life."""

from __future__ import annotations

import numpy as np

from condlube.errors import InvalidArgument
from condlube.lubrication.checks import number
from condlube.lubrication.life_modification import (
    BALL_CONSTANT,
    BALL_KAPPA_CONSTANT,
    HIGHEST_KAPPA,
    KAPPA_EXPONENT,
    KAPPA_JOINTS,
    ROLLER_CONSTANT,
    ROLLER_KAPPA_CONSTANT,
    life_modification_factor,
)
from condlube.lubrication.rating_life import (
    A1,
    A1_OLDER,
    GREASE_CONTAMINATION,
    contamination_factor_ec,
    fatigue_load_limit,
    fatigue_share,
    is_ball,
    rating_life,
)
from condlube.operations.calc.inputs import Bearing
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text, scalar

STANDARD = "ISO 281:2007"


def life(
    bearing: Bearing,
    speed_rpm: float,
    load_ratio_c_p: float | None = None,
    *,
    load_n: float | None = None,
    dynamic_rating_n: float | None = None,
    static_rating_n: float | None = None,
    fatigue_limit_n: float | None = None,
    kappa: float | None = None,
    cleanliness: str = "normal_cleanliness",
    reliability_percent: int = 90,
    elapsed_h: float | None = None,
) -> Working:
    """Rating life from C/P, or from C and P; the modified life needs κ, P and either C0 or the fatigue load limit."""
    if reliability_percent not in A1:
        raise InvalidArgument("reliability_percent", reliability_percent, f"one of {', '.join(map(str, A1))}")
    ratio = _load_ratio(load_ratio_c_p, dynamic_rating_n, load_n)
    basic = rating_life(speed_rpm, ratio, bearing.bearing_type)
    l10 = scalar(basic)
    inputs = [
        *bearing.items,
        Item("speed_rpm", "speed", speed_rpm, "r/min", "n"),
        Item("load_ratio_c_p", "load ratio", ratio, "", "C/P"),
        Item("reliability_percent", "reliability", reliability_percent, "%"),
    ]
    methods = [_basic_page(bearing, speed_rpm, ratio, l10, outside_text(int(basic.reason)))]
    results = [Item("l10_h", "basic rating life", l10, "h", "L10h")]
    warnings = list(bearing.warnings)
    if l10 is not None and kappa is not None and load_n is not None:
        limit = _limit(bearing, static_rating_n, fatigue_limit_n)
        inputs.append(Item("load_n", "equivalent load", load_n, "N", "P"))
        inputs.append(Item("kappa", "viscosity ratio", kappa, "", "κ"))
        page = _modified_page(bearing, l10, load_n, limit, kappa, cleanliness, reliability_percent)
        methods.append(page)
        results += page.results
    else:
        warnings.append("modified life not worked: it needs κ, the load P, and C0 or the fatigue load limit Cu")
    if l10 is not None and elapsed_h is not None:
        inputs.append(Item("elapsed_h", "running hours so far", elapsed_h, "h", "t"))
        share = float(fatigue_share(elapsed_h, l10))
        methods.append(_share_page(elapsed_h, l10, share))
        results.append(methods[-1].results[0])
    return Working("Rating life", tuple(inputs), tuple(methods), tuple(results), tuple(warnings))


def _load_ratio(ratio: float | None, rating: float | None, load: float | None) -> float:
    if ratio is not None:
        return ratio
    if rating is None or load is None:
        raise InvalidArgument("load_ratio_c_p", None, "C/P, or both C and P")
    return float(number("dynamic_rating_n", rating) / number("load_n", load))


def _limit(bearing: Bearing, static_rating: float | None, fatigue_limit: float | None) -> float:
    if fatigue_limit is not None:
        return fatigue_limit
    if static_rating is None:
        raise InvalidArgument("static_rating_n", None, "C0, or the fatigue load limit Cu")
    return float(fatigue_load_limit(static_rating, bearing.mean_diameter_mm, bearing.bearing_type))


def _basic_page(bearing: Bearing, speed: float, ratio: float, hours: float | None, outside: str) -> Method:
    exponent = "3" if bool(is_ball(bearing.bearing_type)) else "10/3"
    answer = f"{number_text(ratio)}^({exponent}) = {number_text(hours)} h"
    return Method(
        "Basic rating life",
        STANDARD,
        factors=(Item("life_exponent", "life exponent", exponent, "", "p"),),
        formula=("L10h = 10⁶/(60·n)·(C/P)^p",),
        substituted=() if hours is None else (f"L10h = 1,000,000/(60 × {number_text(speed)}) × {answer}",),
        results=(Item("l10_h", "basic rating life", hours, "h", "L10h"),),
        outside=outside,
    )


def _modified_page(
    bearing: Bearing, l10: float, load: float, limit: float, kappa: float, cleanliness: str, reliability: int
) -> Method:
    ec = float(contamination_factor_ec(kappa, bearing.mean_diameter_mm, cleanliness))
    constants = "{}, a0 = {:g}, b = {:g}".format(cleanliness, *GREASE_CONTAMINATION[cleanliness])
    x = ec * limit / load
    modification = life_modification_factor(kappa, x, bearing.bearing_type)
    factor, a1 = scalar(modification), A1[reliability]
    hours = None if factor is None else a1 * factor * l10
    older = f"older edition {A1_OLDER[reliability]:g}" if A1_OLDER[reliability] != a1 else ""
    return Method(
        "Modified rating life",
        f"{STANDARD}, 9.3.3 (a_ISO), Annex A (eC for grease, from memory), Annex B (Cu, from memory)",
        factors=(
            Item("fatigue_limit_n", "fatigue load limit", limit, "N", "Cu"),
            Item("contamination_factor", "contamination factor", ec, "", "eC", constants),
            Item("contaminated_load_factor", "eC·Cu/P", x, "", "x"),
            Item("a_iso", "life modification factor", factor, "", "a_ISO", "0.1 to 50"),
            Item("a1", "reliability factor", a1, "", "a1", older),
        ),
        formula=(
            "eC = a·(1 − b/dm^(1/3)), a = min(1, a0·κ^0.68·dm^0.55)",
            _a_iso_formula(bearing.bearing_type, kappa),
            "L = a1·a_ISO·L10h",
        ),
        substituted=()
        if hours is None
        else (f"L = {a1:g} × {number_text(factor)} × {number_text(l10)} = {number_text(hours)} h",),
        results=(Item("modified_life_h", "modified rating life", hours, "h", "L"),),
        outside=outside_text(int(modification.reason)),
    )


def _a_iso_formula(bearing_type: str, kappa: float) -> str:
    ball = bool(is_ball(bearing_type))
    part = int(np.searchsorted(KAPPA_JOINTS, min(kappa, HIGHEST_KAPPA), side="right"))
    c = float((BALL_KAPPA_CONSTANT if ball else ROLLER_KAPPA_CONSTANT)[part])
    power = f"{c:g}/κ^{KAPPA_EXPONENT[part]:g}"
    if ball:
        return f"a_ISO = 0.1·[1 − ({BALL_CONSTANT:g} − {power})^0.83·x^(1/3)]^−9.3, κ at most 4, x at most 5"
    return f"a_ISO = 0.1·[1 − ({ROLLER_CONSTANT:g} − {power})·x^0.4]^−9.185, κ at most 4, x at most 5"


def _share_page(elapsed: float, l10: float, share: float) -> Method:
    return Method(
        "Share failed by fatigue so far",
        "Weibull slope 1.5, behind a1 of ISO 281:1990",
        formula=("F = 1 − 0.9^((t/L10h)^1.5)",),
        substituted=(f"F = 1 − 0.9^(({number_text(elapsed)}/{number_text(l10)})^1.5) = {number_text(share)}",),
        results=(Item("fatigue_share", "share failed by fatigue", share, "", "F"),),
    )
