"""Fatigue life: L10h, reliability factor a1, fatigue load limit, contamination factor.

References
----------
.. [1] ISO 281:2007, Rolling bearings, dynamic load ratings and rating life.
.. [2] ISO 281:1990: older values of a1, which follow a Weibull slope of 1.5 exactly.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import choose, numbers
from condlube.lubrication.classes import BALL_TYPES, BEARING_TYPES
from condlube.lubrication.result import BoolArray, FloatArray, Outside, Result, result

A1 = {90: 1.0, 95: 0.64, 96: 0.55, 97: 0.47, 98: 0.37, 99: 0.25}
"""a1 by reliability (%) [1]_ (from memory)."""

A1_OLDER = {90: 1.0, 95: 0.62, 96: 0.53, 97: 0.44, 98: 0.33, 99: 0.21}
"""a1 by reliability (%), older edition [2]_."""

FATIGUE_SLOPE = 1.5

GREASE_CONTAMINATION = {
    "high_cleanliness": (0.0864, 0.6796),
    "normal_cleanliness": (0.0432, 1.141),
    "slight_to_typical": (0.0177, 1.887),
    "severe": (0.0115, 2.662),
    "very_severe": (0.00617, 4.06),
}
"""Constants of eC for grease by degree of contamination [1]_, Annex A (from memory)."""

SLIGHT_TO_TYPICAL_LARGE = 1.677
LARGE_PITCH_MM = 500.0


def is_ball(bearing_type: npt.ArrayLike) -> BoolArray:
    """True for ball bearings, False for roller bearings [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("bearing_type", bearing_type, {name: float(name in BALL_TYPES) for name in BEARING_TYPES}) > 0.0


def rating_life(speed_rpm: npt.ArrayLike, load_ratio_c_p: npt.ArrayLike, bearing_type: npt.ArrayLike) -> Result:
    """Basic rating life L10h = 10⁶/(60·n)·(C/P)^p, hours; p = 3 for ball and 10/3 for roller bearings [1]_.

    *Outside* where P exceeds 0.5·C, the scope of the standard.

    Parameters
    ----------
    speed_rpm
        Speed, r/min.
    load_ratio_c_p
        C/P.
    bearing_type
        Class name of the type.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    speed, ratio = numbers(speed_rpm=speed_rpm, load_ratio_c_p=load_ratio_c_p)
    exponent = np.where(is_ball(bearing_type), 3.0, 10.0 / 3.0)
    speed, ratio, exponent = np.broadcast_arrays(speed, ratio, exponent)
    return result(1e6 / (60.0 * speed) * ratio**exponent, "h", (ratio < 2.0, Outside.LOAD_BEYOND_HALF))


def fatigue_load_limit(
    static_rating_n: npt.ArrayLike, pitch_diameter_mm: npt.ArrayLike, bearing_type: npt.ArrayLike
) -> FloatArray:
    """Fatigue load limit Cu (N) from the static load rating, simplified rules [1]_ Annex B (from memory).

    Ball bearings C0/22, above 100 mm pitch diameter times (100/Dpw)^0.5; roller bearings C0/8.2, times (100/Dpw)^0.3.

    Parameters
    ----------
    static_rating_n
        Static load rating C0, N.
    pitch_diameter_mm
        Dpw, mm; (d + D)/2 may be used.
    bearing_type
        Class name of the type.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    rating, pitch = numbers(static_rating_n=static_rating_n, pitch_diameter_mm=pitch_diameter_mm)
    ball = is_ball(bearing_type)
    size = np.minimum(100.0 / pitch, 1.0)
    return np.asarray(np.where(ball, rating / 22.0 * size**0.5, rating / 8.2 * size**0.3))


def contamination_factor_ec(
    kappa: npt.ArrayLike, pitch_diameter_mm: npt.ArrayLike, cleanliness: npt.ArrayLike
) -> FloatArray:
    """Contamination factor eC for grease lubrication [1]_, Annex A (from memory).

    eC = a·(1 − b/Dpw^(1/3)) with a = min(1, a0·κ^0.68·Dpw^0.55); never below 0, which the table gives for very severe
    contamination.

    Parameters
    ----------
    kappa
        Viscosity ratio.
    pitch_diameter_mm
        Dpw, mm.
    cleanliness
        A row of :data:`GREASE_CONTAMINATION`.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    ratio, pitch = numbers(kappa=kappa, pitch_diameter_mm=pitch_diameter_mm)
    a0 = choose("cleanliness", cleanliness, {name: pair[0] for name, pair in GREASE_CONTAMINATION.items()})
    b = choose("cleanliness", cleanliness, {name: pair[1] for name, pair in GREASE_CONTAMINATION.items()})
    typical = b == GREASE_CONTAMINATION["slight_to_typical"][1]
    b = np.where(typical & (pitch >= LARGE_PITCH_MM), SLIGHT_TO_TYPICAL_LARGE, b)
    a = np.minimum(1.0, a0 * ratio**0.68 * pitch**0.55)
    return np.asarray(np.maximum(a * (1.0 - b / np.cbrt(pitch)), 0.0))


def fatigue_share(elapsed_h: npt.ArrayLike, life_10_h: npt.ArrayLike) -> FloatArray:
    """Share of bearings failed by fatigue after ``elapsed_h``: 1 − 0.9^((t/L10)^1.5), the slope behind a1 [2]_.

    Use: a prior for damage where the load is known.

    Parameters
    ----------
    elapsed_h
        Running hours so far.
    life_10_h
        Rating life L10h, h.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    elapsed, life = numbers(elapsed_h=elapsed_h, life_10_h=life_10_h)
    return np.asarray(-np.expm1(np.log(0.9) * (elapsed / life) ** FATIGUE_SLOPE))
