"""The relubrication interval of each bearing: which method gives it, and how speed and temperature change it.

The formulas are those of ``lubrication``; here they meet the register. An interval is L01 grease life, running hours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication import catalogue, factors
from condlube.lubrication.grease_life import median_grease_life
from condlube.lubrication.life_distribution import L10_PER_L01, life_at
from condlube.lubrication.result import BoolArray, Outside, Result
from condlube.lubrication.temperature import BASE_DEGC, temperature_multiplier
from condlube.lubrication.trade import trade_interval
from condlube.policy.model import Policy

METHODS = ("manual", "trade_formula", "catalogue_rule", "grease_life", "none")
MANUAL, TRADE, CATALOGUE, GREASE_LIFE, NONE = range(len(METHODS))
HALVINGS_AT_SPEED_LIMIT = 0.86
"""Median grease life halves so often at the limiting speed (Booser 1974, from memory)."""
NO_LIMIT_DEGC = 400.0


@dataclass(frozen=True)
class Intervals:
    """What the interval depends on; every field but ``most_h`` is an array over bearings.

    ``constant_h`` holds intervals that do not depend on speed (manual, grease life at 70 °C). ``k`` is that of the
    trade formula without its temperature factor, ``register_heat`` how much faster than at reference temperature the
    grease ages at the register's temperature.
    """

    method: IntArray
    constant_h: FloatArray
    speed_rpm: FloatArray
    bore_mm: FloatArray
    k: FloatArray
    speed_factor_per_rpm: FloatArray
    bearing_factor: FloatArray
    load_ratio: FloatArray
    adjustment: FloatArray
    speed_factor_limit: FloatArray
    reference_degc: FloatArray
    may_double: BoolArray
    ring_k: FloatArray
    grease_limit_degc: FloatArray
    register_heat: FloatArray
    most_h: float

    def at_reference(self, which: IntArray, speed_rpm: FloatArray) -> Result:
        """Interval (h) at reference temperature of bearings ``which`` at a speed; the register's where it is NaN."""
        speed = np.where(speed_rpm > 0.0, speed_rpm, self.speed_rpm[which])
        method = self.method[which]
        hours = self.constant_h[which].copy()
        reason = np.where(method == NONE, np.uint8(Outside.NOT_REGREASABLE), np.uint8(0))
        for code, answer in ((TRADE, self._trade), (CATALOGUE, self._catalogue)):
            rows = method == code
            if rows.any():
                by_method = answer(which[rows], speed[rows])
                hours[rows], reason[rows] = by_method.value, by_method.reason
        return Result(hours, reason.astype(np.uint8), "h")

    def _trade(self, which: IntArray, speed: FloatArray) -> Result:
        return trade_interval(speed, self.bore_mm[which], self.k[which])

    def _catalogue(self, which: IntArray, speed: FloatArray) -> Result:
        a = speed * self.speed_factor_per_rpm[which]
        base = catalogue.diagram(a * self.bearing_factor[which], self.load_ratio[which])
        too_fast = a > self.speed_factor_limit[which]
        return base.scaled(self.adjustment[which]).restricted((too_fast, Outside.SPEED_FACTOR_TOO_HIGH))

    def heat(self, which: IntArray, housing_degc: FloatArray) -> FloatArray:
        """How much faster than at reference temperature grease ages at a measured housing temperature.

        ``housing_degc`` [rows] or [rows, parts]. Above the grease's limit it ages no faster: there one has to look.
        """
        spread = (slice(None),) + (None,) * (housing_degc.ndim - 1)
        ring = housing_degc + self.ring_k[which][spread]
        ring = np.minimum(ring, self.grease_limit_degc[which][spread])
        by_rule = ring - self.reference_degc[which][spread] + BASE_DEGC
        return np.asarray(1.0 / temperature_multiplier(by_rule, may_double=self.may_double[which][spread]))


def intervals(
    bearings: pd.DataFrame, velocity_mm_s_rms: FloatArray, grease_limit_degc: FloatArray, policy: Policy
) -> Intervals:
    """Gather what the intervals depend on: the manual's first, else the method of the policy.

    Parameters
    ----------
    bearings
        Register table, defaults filled in.
    velocity_mm_s_rms
        Usual vibration velocity per bearing, for the trade formula; NaN where none is known.
    grease_limit_degc
        Upper end of the service range of the grease per bearing; NaN where none is known.
    """
    word = {name: bearings[name].to_numpy(dtype=object) for name in _WORDS}
    number = {name: bearings[name].to_numpy(dtype=np.float64, na_value=np.nan) for name in _NUMBERS}
    method = np.full(len(bearings), METHODS.index(policy.life.method), dtype=np.int64)
    method[(number["manual_interval_h"] > 0) & (word["manual_interval_basis"] != "calendar")] = MANUAL
    method[word["seal"] == "sealed"] = GREASE_LIFE
    method[word["supply"] == "oil"] = NONE
    per_rpm = catalogue.speed_factor(1.0, number["bore_mm"], number["outside_diameter_mm"], word["rotating_ring"])
    bf, ratio = catalogue.bearing_factor(word["bearing_type"]), number["load_ratio"]
    limit = catalogue.speed_factor_limit(word["bearing_type"], ratio)
    at_one_rpm = catalogue.catalogue_interval(
        1.0, number["bore_mm"], number["outside_diameter_mm"], bearing_type=word["bearing_type"],
        load_ratio_c_p=ratio, orientation=word["orientation"], rotating_ring=word["rotating_ring"],
    )  # fmt: skip
    constant = np.full(len(bearings), np.nan)
    manual = number["manual_interval_h"] / np.where(word["manual_interval_basis"] == "L10", L10_PER_L01, 1.0)
    constant[method == MANUAL] = manual[method == MANUAL]
    sealed = method == GREASE_LIFE
    halvings = HALVINGS_AT_SPEED_LIMIT * number["speed_rpm"] * per_rpm / limit
    constant[sealed] = life_at(1.0, median_grease_life(BASE_DEGC, halvings[sealed]).value, 50.0)
    found = Intervals(
        method=method, constant_h=constant, speed_rpm=number["speed_rpm"], bore_mm=number["bore_mm"],
        k=_trade_k(word, velocity_mm_s_rms), speed_factor_per_rpm=per_rpm, bearing_factor=bf, load_ratio=ratio,
        adjustment=at_one_rpm.value / catalogue.diagram(per_rpm * bf, ratio).value, speed_factor_limit=limit,
        reference_degc=np.where((method == MANUAL) & (number["manual_reference_degc"] > -np.inf),
                                number["manual_reference_degc"], BASE_DEGC),
        may_double=(method == CATALOGUE) & catalogue.may_double(word["bearing_type"]),
        ring_k=number["housing_to_ring_k"], register_heat=np.ones(len(bearings)), most_h=policy.life.max_interval_h,
        grease_limit_degc=np.where(np.isnan(grease_limit_degc), NO_LIMIT_DEGC, grease_limit_degc),
    )  # fmt: skip
    found.register_heat[:] = _register_heat(found, bearings, number["housing_degc"])
    return found


def _trade_k(word: dict[str, np.ndarray], velocity_mm_s_rms: FloatArray) -> FloatArray:
    return np.asarray(
        factors.contamination_factor(word["contamination"])
        * factors.moisture_factor(word["moisture"])
        * factors.vibration_factor(np.nan_to_num(velocity_mm_s_rms))
        * factors.position_factor(word["orientation"])
        * factors.design_factor(word["bearing_type"])
    )


def _register_heat(found: Intervals, bearings: pd.DataFrame, housing_degc: FloatArray) -> FloatArray:
    """Where no temperature is measured: the trade formula's own factor; a manual's interval as it stands unless the
    register gives a temperature; the 70 °C rule otherwise."""
    everyone = np.arange(len(bearings))
    by_rule = found.heat(everyone, housing_degc)
    assumed = np.array(["housing_degc" in str(used).split() for used in bearings["defaults_used"]], dtype=np.bool_)
    heat = np.where((found.method == MANUAL) & assumed, 1.0, by_rule)
    return np.asarray(np.where(found.method == TRADE, 1.0 / factors.temperature_factor(housing_degc), heat))


_WORDS = (
    "manual_interval_basis", "seal", "supply", "rotating_ring", "bearing_type", "orientation", "contamination",
    "moisture",
)  # fmt: skip
_NUMBERS = (
    "manual_interval_h", "manual_reference_degc", "bore_mm", "outside_diameter_mm", "speed_rpm", "load_ratio",
    "housing_to_ring_k", "housing_degc",
)  # fmt: skip
