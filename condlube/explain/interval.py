"""The relubrication interval of a decision with its factors, and what the other methods say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from condlube.errors import InvalidArgument
from condlube.lubrication.interval import side_by_side
from condlube.lubrication.result import Outside, Result

Row = Mapping[str, Any]
_METHODS = {
    "manual": "the machine's manual",
    "trade_formula": "the trade formula",
    "catalogue_rule": "the catalogue rule",
    "grease_life": "grease life of sealed bearings",
}
NO_INTERVAL = {
    **{code.name.lower(): f"{code.why}; {code.advice}" for code in Outside if code},
    "no_start": "nothing tells when the count begins",
    "conditions_outside_range": "the measured speed or temperature was outside the method's range for too many of the "
    "running hours",
}
"""Why there is none, by what the decision has in place of a method."""


def interval_lines(bearing: Row, decision: Row, evidence: Sequence[Row]) -> list[str]:
    """Interval in use, factors of the trade formula and answers of the methods at the register's temperature."""
    by = _METHODS.get(decision["interval_method"], "")
    lines = []
    if decision["interval_h"] is None:
        lines.append(f"No interval: {NO_INTERVAL[decision['interval_method']]}.")
    else:
        since = "" if decision["last_greased"] is None else f" since {decision['last_greased']:%Y-%m-%d}"
        lines.append(f"{decision['interval_h']:,.0f} running hours (L01) by {by}, at the speed and temperature{since} "
                     f"(the register's where not measured); {_share(decision['x'])} used up.")  # fmt: skip
        if any(row["source"] == "response" and row["reason"] == "none" for row in evidence):
            lines.append("The last greasing had no effect: the share used up is counted through it.")
    if bearing["manual_interval_h"]:
        basis = bearing["manual_interval_basis"]
        lines.append(f"The manual gives {bearing['manual_interval_h']:,.0f} h (basis {basis}).")
    if bearing["seal"] == "sealed":
        return lines
    heard = (row for row in evidence if row["source"] == "velocity" and row["status"] == "assessed")
    velocity = next((row["observed"] for row in heard), 0.0)
    try:
        sides = side_by_side(
            bearing["speed_rpm"], bearing["bore_mm"], bearing["outside_diameter_mm"],
            bearing_type=bearing["bearing_type"],
            housing_temperature_degc=bearing["housing_degc"],
            ring_temperature_degc=bearing["housing_degc"] + bearing["housing_to_ring_k"],
            load_ratio_c_p=bearing["load_ratio"], contamination=bearing["contamination"],
            moisture=bearing["moisture"], velocity_mm_s_rms=velocity, orientation=bearing["orientation"],
            rotating_ring=bearing["rotating_ring"],
        )  # fmt: skip
    except InvalidArgument as error:
        return [*lines, f"The methods cannot be compared: {error}."]
    factors = " x ".join(f"{name} {float(np.ravel(value)[0]):g}" for name, value in sides.trade.factors.items())
    lines.append(f"Trade formula: K = {factors} = {float(np.ravel(sides.trade.k)[0]):g}.")
    lines.append(
        f"At the register's {bearing['housing_degc']:g} °C housing and {bearing['speed_rpm']:g} r/min: trade formula "
        f"{_hours(sides.trade.interval)}, catalogue rule {_hours(sides.catalogue.interval)}, reduction factors "
        f"{_range(sides.reduction.shortest, sides.reduction.longest)}. Methods differ two to three times."
    )
    return lines


def _hours(result: Result) -> str:
    value = float(np.ravel(result.value)[0])
    return "outside its range" if np.isnan(value) else f"{value:,.0f} h"


def _range(shortest: Result, longest: Result) -> str:
    low, high = _hours(shortest), _hours(longest)
    return low if low == high else f"{low} to {high}"


def _share(x: float | None) -> str:
    return "an unknown share" if x is None else f"{x:.0%}"
