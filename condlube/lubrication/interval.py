"""The methods for a relubrication interval side by side, each with its factors, and their spread.

References
----------
.. [1] Those of :mod:`.trade`, :mod:`.factors`, :mod:`.catalogue`, :mod:`.temperature` and :mod:`.reduction`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from condlube.lubrication import catalogue, factors, reduction
from condlube.lubrication.checks import classes, number
from condlube.lubrication.classes import SEALS
from condlube.lubrication.life_distribution import L10_PER_L01
from condlube.lubrication.result import FloatArray, Outside, Result
from condlube.lubrication.temperature import temperature_multiplier
from condlube.lubrication.trade import trade_interval

BASE_LOAD_RATIO = 15.0


@dataclass(frozen=True, slots=True)
class TradeMethod:
    """The trade formula: its six factors, K and the interval (h)."""

    factors: dict[str, FloatArray]
    k: FloatArray
    interval: Result


@dataclass(frozen=True, slots=True)
class CatalogueMethod:
    """The catalogue rule: base interval at 70 °C, temperature multiplier, interval (L01, h) and L10 (h)."""

    speed_factor: FloatArray
    bearing_factor: FloatArray
    base: Result
    multiplier: FloatArray
    interval: Result
    l10: Result


@dataclass(frozen=True, slots=True)
class ReductionMethod:
    """The reduction factors: base interval, the six ranges, shortest and longest interval (h)."""

    base: Result
    ranges: dict[str, reduction.FactorRange]
    shortest: Result
    longest: Result


@dataclass(frozen=True, slots=True)
class SideBySide:
    """Three methods, and the longest answer over the shortest (the middle of the third method's range counts)."""

    trade: TradeMethod
    catalogue: CatalogueMethod
    reduction: ReductionMethod
    spread: FloatArray


def _by_trade(
    speed_rpm: npt.ArrayLike, bore_mm: npt.ArrayLike, seal: npt.ArrayLike, **conditions: npt.ArrayLike
) -> TradeMethod:
    values = {
        "temperature": factors.temperature_factor(conditions["housing_temperature_degc"]),
        "contamination": factors.contamination_factor(conditions["contamination"]),
        "moisture": factors.moisture_factor(conditions["moisture"]),
        "vibration": factors.vibration_factor(conditions["velocity_mm_s_rms"]),
        "position": factors.position_factor(conditions["orientation"]),
        "design": factors.design_factor(conditions["bearing_type"]),
    }
    k = np.asarray(np.prod(np.stack(np.broadcast_arrays(*values.values())), axis=0))
    capped = (classes("seal", seal, SEALS) > 0, Outside.NOT_REGREASABLE)
    return TradeMethod(values, k, trade_interval(speed_rpm, bore_mm, k).restricted(capped))


def _by_reduction(base: Result, air_flow: npt.ArrayLike, ring: FloatArray, load_ratio: FloatArray,
                  **conditions: npt.ArrayLike) -> ReductionMethod:  # fmt: skip
    ranges = {
        "f1 dust and moisture": reduction.dust_and_moisture(
            reduction.dust_severity(conditions["contamination"], conditions["moisture"])
        ),
        "f2 shock and vibration": reduction.shock_and_vibration(
            reduction.vibration_severity(conditions["velocity_mm_s_rms"])
        ),
        "f3 high temperature": reduction.high_temperature(ring),
        "f4 load": reduction.load(1.0 / load_ratio),
        "f5 air flow": reduction.air_flow(air_flow),
        "f6 vertical shaft": reduction.vertical_shaft(conditions["orientation"]),
    }
    first, *others = ranges.values()
    product = first
    for factor in others:
        product = product.times(factor)
    return ReductionMethod(base, ranges, *reduction.reduced_interval(base, product))


def _spread(*answers: FloatArray) -> FloatArray:
    known = np.stack(np.broadcast_arrays(*answers))
    highest = np.max(np.where(np.isnan(known), -np.inf, known), axis=0)
    lowest = np.min(np.where(np.isnan(known), np.inf, known), axis=0)
    several = np.sum(~np.isnan(known), axis=0) > 1
    return np.asarray(np.divide(highest, lowest, out=np.full(highest.shape, np.nan), where=several))


def side_by_side(
    speed_rpm: npt.ArrayLike,
    bore_mm: npt.ArrayLike,
    outside_diameter_mm: npt.ArrayLike,
    *,
    bearing_type: npt.ArrayLike,
    housing_temperature_degc: npt.ArrayLike = 60.0,
    ring_temperature_degc: npt.ArrayLike = 70.0,
    load_ratio_c_p: npt.ArrayLike = BASE_LOAD_RATIO,
    contamination: npt.ArrayLike = "light_nonabrasive",
    moisture: npt.ArrayLike = "dry",
    velocity_mm_s_rms: npt.ArrayLike = 0.0,
    orientation: npt.ArrayLike = "horizontal",
    rotating_ring: npt.ArrayLike = "inner",
    seal: npt.ArrayLike = "open",
    air_flow: npt.ArrayLike = "none",
) -> SideBySide:
    """Relubrication interval by the trade formula, the catalogue rule and the reduction factors [1]_.

    The catalogue and reduction methods start from the catalogue diagram at 70 °C (the second at light load, its own
    curve is not published in open text). The catalogue rule knows no factor for dirt, water or vibration beyond
    "reduce": its answer is for clean, dry and quiet conditions.

    Parameters
    ----------
    speed_rpm, bore_mm, outside_diameter_mm
        Shaft speed (r/min) and dimensions (mm).
    housing_temperature_degc, ring_temperature_degc
        Housing temperature for the trade formula, ring temperature for the others, °C.
    velocity_mm_s_rms
        Vibration velocity, mm/s rms.
    bearing_type, load_ratio_c_p, contamination, moisture, orientation, rotating_ring, seal, air_flow
        Class names and load ratio, as in the single methods. ``bearing_type`` is a type of
        :data:`~condlube.lubrication.factors.DESIGN`.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    conditions = {
        "contamination": contamination,
        "moisture": moisture,
        "velocity_mm_s_rms": velocity_mm_s_rms,
        "orientation": orientation,
    }
    trade = _by_trade(
        speed_rpm, bore_mm, seal, bearing_type=bearing_type, housing_temperature_degc=housing_temperature_degc,
        **conditions,
    )  # fmt: skip
    place = (speed_rpm, bore_mm, outside_diameter_mm)
    ring = number("ring_temperature_degc", ring_temperature_degc)
    ratio = number("load_ratio_c_p", load_ratio_c_p)
    base = catalogue.catalogue_interval(
        *place, bearing_type=bearing_type, load_ratio_c_p=ratio, orientation=orientation, rotating_ring=rotating_ring,
        seal=seal,
    )  # fmt: skip
    multiplier = temperature_multiplier(ring, may_double=catalogue.may_double(bearing_type))
    interval = catalogue.planning_cap(base.scaled(multiplier))
    by_catalogue = CatalogueMethod(
        catalogue.speed_factor(*place, rotating_ring), catalogue.bearing_factor(bearing_type), base, multiplier,
        interval, interval.scaled(L10_PER_L01),
    )  # fmt: skip
    light = catalogue.catalogue_interval(
        *place, bearing_type=bearing_type, load_ratio_c_p=BASE_LOAD_RATIO, rotating_ring=rotating_ring, seal=seal
    )
    by_reduction = _by_reduction(light, air_flow, ring, ratio, **conditions)
    middle = np.sqrt(by_reduction.shortest.value * by_reduction.longest.value)
    return SideBySide(
        trade, by_catalogue, by_reduction, _spread(trade.interval.value, by_catalogue.interval.value, middle)
    )
