"""Whether the grease in service is right or wrong for a bearing: seven aspects, each with its own verdict.

The aspects and their limits are handbook practice: speed factor limits and κ as cited in :mod:`.catalogue` and
:mod:`.viscosity_ratio`; EP additives for κ below 1 or heavy load (C/P below 8); NLGI 1 to 3, 2 or stiffer on a vertical
shaft; sodium soap is not water resistant. Temperature ranges of thickeners are typical values from memory.

References
----------
.. [1] Those of :mod:`.catalogue`, :mod:`.viscosity` and :mod:`.viscosity_ratio`; otherwise common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from condlube.lubrication.catalogue import speed_factor, speed_factor_limit
from condlube.lubrication.checks import choose, classes, number
from condlube.lubrication.classes import MOISTURES, ORIENTATIONS
from condlube.lubrication.compatibility import THICKENERS, UNKNOWN_NAMES
from condlube.lubrication.result import BoolArray, CodeArray, FloatArray
from condlube.lubrication.viscosity import viscosity_at
from condlube.lubrication.viscosity_ratio import rated_viscosity, viscosity_ratio


class Verdict(IntEnum):
    """Verdict on one aspect, ordered so that the larger prevails in the whole."""

    RIGHT = 0
    BORDERLINE = 1
    CANNOT_TELL = 2
    WRONG = 3


TYPICAL_DEGC = {
    "lithium": (-30.0, 120.0),
    "lithium_12_hydroxy": (-30.0, 120.0),
    "lithium_complex": (-30.0, 150.0),
    "calcium": (-20.0, 60.0),
    "calcium_12_hydroxy": (-30.0, 110.0),
    "calcium_complex": (-30.0, 130.0),
    "calcium_sulfonate_complex": (-25.0, 160.0),
    "aluminium_complex": (-30.0, 140.0),
    "barium": (-20.0, 110.0),
    "barium_complex": (-30.0, 130.0),
    "sodium": (-20.0, 100.0),
    "clay": (-30.0, 150.0),
    "polyurea": (-30.0, 160.0),
    "polyurea_shear_stable": (-30.0, 160.0),
}
"""Typical service range by thickener with mineral oil (from memory); used where the grease states none."""

NLGI_VALUE = {"000": -2.0, "00": -1.0, "0": 0.0, "1": 1.0, "1-2": 1.5, "1.5": 1.5, "2": 2.0, "2-3": 2.5, "2.5": 2.5,
              "3": 3.0, "4": 4.0, "5": 5.0, "6": 6.0, "": np.nan}  # fmt: skip

HEAVY_LOAD_RATIO = 8.0


@dataclass(frozen=True, slots=True)
class Aspect:
    """One aspect: its verdict, what was observed and the limit it was held against, element by element."""

    name: str
    verdict: CodeArray
    observed: FloatArray
    limit: FloatArray
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Suitability:
    """The aspects and the verdict on the whole: the worst of them."""

    aspects: tuple[Aspect, ...]
    verdict: CodeArray


def _verdict(unknown: BoolArray, wrong: BoolArray, borderline: BoolArray | bool = False) -> CodeArray:
    return np.select(
        [unknown, wrong, np.asarray(borderline)],
        [Verdict.CANNOT_TELL, Verdict.WRONG, Verdict.BORDERLINE],
        Verdict.RIGHT,
    ).astype(np.uint8)


def _known_or_nan(argument: str, value: npt.ArrayLike) -> tuple[FloatArray, BoolArray]:
    """The value with 1.0 in place of NaN, and where it was NaN: unknown, as the register leaves it."""
    array = np.asarray(value)
    unknown = np.isnan(array) if array.dtype.kind == "f" else np.zeros(array.shape, dtype=np.bool_)
    return number(argument, np.where(unknown, 1.0, array)), np.asarray(unknown)


def _speed(a: FloatArray, bearing_type: npt.ArrayLike, ratio: npt.ArrayLike) -> Aspect:
    limit = speed_factor_limit(bearing_type, ratio)
    return Aspect("speed factor", _verdict(np.isnan(a), a > limit), a, limit, "mm/min",
                  "n·dm at most the limit for grease of this bearing type and load")  # fmt: skip


def _temperatures(
    ring: FloatArray, start: FloatArray, lowest: npt.ArrayLike, highest: npt.ArrayLike, thickener: npt.ArrayLike
) -> tuple[Aspect, Aspect]:
    unknown_names = dict.fromkeys(UNKNOWN_NAMES, (np.nan, np.nan))
    typical = {**TYPICAL_DEGC, **unknown_names}
    low, high = (np.asarray(limit, dtype=np.float64) for limit in (lowest, highest))
    low = np.where(np.isnan(low), choose("thickener", thickener, {n: pair[0] for n, pair in typical.items()}), low)
    high = np.where(np.isnan(high), choose("thickener", thickener, {n: pair[1] for n, pair in typical.items()}), high)
    return (
        Aspect("highest temperature", _verdict(np.isnan(high), ring > high), ring, high, "°C",
               "ring temperature within the service range"),
        Aspect("lowest temperature", _verdict(np.isnan(low), start < low), start, low, "°C",
               "coldest start within the service range"),
    )  # fmt: skip


def _film(kappa: FloatArray, ratio: FloatArray, ep: FloatArray) -> tuple[Aspect, Aspect]:
    unknown, has_ep = np.isnan(kappa), ep > 0.0
    thin = (kappa < 0.1) | ((kappa < 0.4) & ~has_ep)
    film = Aspect("viscosity ratio", _verdict(unknown, thin, (kappa < 1.0) | (kappa > 4.0)), kappa, np.asarray(1.0), "",
                  "κ 1 to 4; below 0.4 only with EP additives; above 4 more friction and heat")  # fmt: skip
    heavy = ratio < HEAVY_LOAD_RATIO
    needed = heavy | (kappa < 1.0)
    unsure = (needed & np.isnan(ep)) | (unknown & ~heavy & ~has_ep)
    verdict = _verdict(unsure, (kappa < 0.4) & ~has_ep, needed & ~has_ep)
    additives = Aspect("EP additives", verdict, ep, needed.astype(np.float64), "",
                       "needed where κ is below 1 or C/P below 8 (1 yes, 0 no)")  # fmt: skip
    return film, additives


def _consistency(nlgi: npt.ArrayLike, orientation: npt.ArrayLike) -> Aspect:
    value = choose("nlgi", nlgi, NLGI_VALUE)
    upright = classes("orientation", orientation, ORIENTATIONS) == ORIENTATIONS.index("vertical")
    softest = np.where(upright, 2.0, 1.0)
    wrong, borderline = (value > 3.0) | (value < softest - 1.0), value < softest
    return Aspect("consistency", _verdict(np.isnan(value), wrong, borderline), value, softest, "NLGI",
                  "NLGI 1 to 3; 2 or stiffer on a vertical shaft")  # fmt: skip


def _water(thickener: npt.ArrayLike, moisture: npt.ArrayLike) -> Aspect:
    names = (*THICKENERS, *UNKNOWN_NAMES)
    position = classes("thickener", thickener, names)
    wetness = classes("moisture", moisture, MOISTURES)
    soluble = position == names.index("sodium")
    unknown = (position >= len(THICKENERS)) & (wetness >= MOISTURES.index("condensation"))
    wrong = soluble & (wetness >= MOISTURES.index("condensation"))
    verdict = _verdict(unknown, wrong, soluble & (wetness > 0))
    return Aspect("water", verdict, wetness.astype(np.float64), np.asarray(np.nan), "class",
                  "no sodium soap where water or condensation reaches the bearing")  # fmt: skip


def suitability(
    *,
    speed_rpm: npt.ArrayLike,
    bore_mm: npt.ArrayLike,
    outside_diameter_mm: npt.ArrayLike,
    bearing_type: npt.ArrayLike,
    ring_temperature_degc: npt.ArrayLike,
    start_temperature_degc: npt.ArrayLike = 10.0,
    load_ratio_c_p: npt.ArrayLike = 15.0,
    moisture: npt.ArrayLike = "dry",
    orientation: npt.ArrayLike = "horizontal",
    rotating_ring: npt.ArrayLike = "inner",
    thickener: npt.ArrayLike = "unknown",
    viscosity_40_mm2_s: npt.ArrayLike = np.nan,
    viscosity_100_mm2_s: npt.ArrayLike = np.nan,
    temperature_min_degc: npt.ArrayLike = np.nan,
    temperature_max_degc: npt.ArrayLike = np.nan,
    extreme_pressure: npt.ArrayLike = np.nan,
    nlgi: npt.ArrayLike = "",
) -> Suitability:
    """Whether a grease suits a bearing's speed, temperature, load, water and position [1]_.

    Parameters
    ----------
    speed_rpm, bore_mm, outside_diameter_mm, bearing_type, load_ratio_c_p, moisture, orientation, rotating_ring
        The bearing, as elsewhere; dimensions in mm.
    ring_temperature_degc, start_temperature_degc
        Ring temperature in operation and coldest start, °C.
    thickener, nlgi
        Class name and NLGI number as text; ``unknown`` or empty where not known.
    viscosity_40_mm2_s, viscosity_100_mm2_s, temperature_min_degc, temperature_max_degc, extreme_pressure
        The grease; NaN where not known (then *cannot tell*, or the thickener's typical range). ``extreme_pressure`` is
        1 or 0.

    Returns
    -------
    Suitability
        Aspects in fixed order: speed factor, highest and lowest temperature, viscosity ratio, EP additives,
        consistency, water.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    ring = number("ring_temperature_degc", ring_temperature_degc)
    start = number("temperature_degc", start_temperature_degc)
    ratio = number("load_ratio_c_p", load_ratio_c_p)
    a = speed_factor(speed_rpm, bore_mm, outside_diameter_mm, rotating_ring)
    v40, no_40 = _known_or_nan("viscosity_40_mm2_s", viscosity_40_mm2_s)
    v100, no_100 = _known_or_nan("viscosity_100_mm2_s", viscosity_100_mm2_s)
    unknown = no_40 | no_100
    actual = viscosity_at(ring, np.where(unknown, 100.0, v40), np.where(unknown, 11.0, v100)).value
    pitch = 0.5 * (number("bore_mm", bore_mm) + number("outside_diameter_mm", outside_diameter_mm))
    rated = rated_viscosity(speed_rpm, pitch)
    kappa = np.where(unknown | np.isnan(actual), np.nan, viscosity_ratio(np.nan_to_num(actual, nan=1.0), rated))
    has_ep, no_ep = _known_or_nan("extreme_pressure", extreme_pressure)
    ep = np.where(no_ep, np.nan, has_ep)
    ring, start, ratio, a, kappa, ep = np.broadcast_arrays(ring, start, ratio, a, kappa, ep)
    aspects = (
        _speed(a, bearing_type, ratio),
        *_temperatures(ring, start, temperature_min_degc, temperature_max_degc, thickener),
        *_film(kappa, ratio, ep),
        _consistency(nlgi, orientation),
        _water(thickener, moisture),
    )
    verdicts = np.broadcast_arrays(*(aspect.verdict for aspect in aspects))
    return Suitability(aspects, np.asarray(np.maximum.reduce(verdicts)))
