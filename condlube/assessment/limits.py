"""Absolute levels: the last running readings against vibration zones and temperature limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.greasings import TimeArray
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.severity import LEAST_UPPER_B, ZONES, Zones, machine_zone, pump_zone
from condlube.policy.decision import TemperatureLimit
from condlube.policy.model import Policy


@dataclass(frozen=True)
class Placed:
    """The worst reading of each bearing: its class, its row in the deviations (-1: none), itself, the limit passed."""

    value: FloatArray
    row: IntArray
    observed: FloatArray
    limit: FloatArray
    reason: npt.NDArray[np.object_]


def level_limits(
    bearings: pd.DataFrame,
    deviations: pd.DataFrame,
    grease_limit_degc: FloatArray,
    policy: Policy,
    end: TimeArray,
) -> dict[str, Placed]:
    """Zone of the velocity and temperature limit passed, by evidence source.

    Only readings taken while running and not older than the policy says. A velocity outside the scope of the standards,
    or of a machine of unknown power, has no zone.
    """
    oldest = end[deviations["which"].to_numpy()]
    oldest = oldest - np.timedelta64(round(policy.guard.absolute_limit.fresh_days * 24), "h")
    fresh = (deviations["level_time"].to_numpy() >= oldest) & deviations["level_now"].notna().to_numpy()
    fresh &= (deviations["status"] != "faulty").to_numpy()
    velocity, warmth = (np.flatnonzero(fresh & (deviations["quantity"] == name).to_numpy())
                        for name in ("velocity", "temperature"))  # fmt: skip
    return {
        "zone": _zone(bearings, deviations, velocity),
        "temperature_limit": _temperature(bearings, deviations, warmth, grease_limit_degc),
    }


def upper_b(bearings: pd.DataFrame) -> FloatArray:
    """Upper limit of zone B, mm/s rms, of each row; the lowest of the standards where the machine is outside their
    scope or its power unknown."""
    power = bearings["power_kw"].to_numpy(dtype=np.float64, na_value=np.nan)
    is_pump = (bearings["machine_kind"] == "pump").to_numpy()
    made = np.full(len(power), np.nan)
    for of_pumps in (True, False):
        at = np.flatnonzero((is_pump == of_pumps) & (power > 0))
        rest = np.zeros(len(at))
        zones = pump_zone(rest, power[at]) if of_pumps else _machine(bearings, rest, power[at], at)
        made[at] = zones.limits_mm_s_rms[:, 1]
    return np.where(np.isnan(made), LEAST_UPPER_B, made)


def _zone(bearings: pd.DataFrame, deviations: pd.DataFrame, rows: IntArray) -> Placed:
    which = deviations["which"].to_numpy(dtype=np.int64)[rows]
    level = deviations["level_now"].to_numpy(dtype=np.float64)[rows]
    power = bearings["power_kw"].to_numpy(dtype=np.float64, na_value=np.nan)[which]
    is_pump = (bearings["machine_kind"] == "pump").to_numpy()[which]
    value, limit = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    for of_pumps in (True, False):
        at = np.flatnonzero((is_pump == of_pumps) & (power > 0))
        zones = pump_zone(level[at], power[at]) if of_pumps else _machine(bearings, level[at], power[at], which[at])
        inside = ~zones.outside
        place = np.searchsorted(ZONES, zones.zone[inside])
        value[at[inside]] = place
        limit[at[inside]] = zones.limits_mm_s_rms[inside, np.maximum(place - 1, 0)]
    return _worst(len(bearings), which, rows, value, level, limit, tuple(ZONES))


def _machine(bearings: pd.DataFrame, level: FloatArray, power: FloatArray, which: IntArray) -> Zones:
    support = bearings["support"].to_numpy(dtype=object)[which]
    return machine_zone(level, power, support, bearings["speed_rpm"].to_numpy(dtype=np.float64)[which])


def _temperature(
    bearings: pd.DataFrame, deviations: pd.DataFrame, rows: IntArray, grease_limit_degc: FloatArray
) -> Placed:
    which = deviations["which"].to_numpy(dtype=np.int64)[rows]
    level = deviations["level_now"].to_numpy(dtype=np.float64)[rows]
    over_grease = grease_limit_degc - bearings["housing_to_ring_k"].to_numpy(dtype=np.float64)
    alarm, trip = (bearings[name].to_numpy(dtype=np.float64) for name in ("alarm_degc", "trip_degc"))
    limits = np.stack([alarm, over_grease, trip], axis=1)[which]
    value, limit = np.zeros(len(rows)), limits[:, 0].copy()
    for k in range(limits.shape[1]):
        passed = level >= limits[:, k]
        value[passed], limit[passed] = k + 1.0, limits[passed, k]
    return _worst(len(bearings), which, rows, value, level, limit, TemperatureLimit.classes)


def _worst(
    n: int, which: IntArray, rows: IntArray, value: FloatArray, level: FloatArray, limit: FloatArray,
    names: tuple[str, ...],
) -> Placed:  # fmt: skip
    """The row of each bearing with the worst class, the highest level among equals."""
    order = np.lexsort((-level, -np.nan_to_num(value, nan=-1.0), which))
    order = order[~np.isnan(value[order])]
    first = order[np.r_[True, which[order][1:] != which[order][:-1]][: len(order)]]
    placed = Placed(
        np.full(n, np.nan), np.full(n, -1), np.full(n, np.nan), np.full(n, np.nan), np.full(n, "", dtype=object)
    )
    at = which[first]
    placed.value[at], placed.row[at] = value[first], rows[first]
    placed.observed[at], placed.limit[at] = level[first], limit[first]
    placed.reason[at] = [names[int(v)] for v in value[first]]
    return placed
