"""Every value that is published, in one table per source beside this file, against the library.

Columns: the quantity and its inputs, the value (``outside`` where the method gives no number), the tolerance (``text``
for letters and grades), and where the value comes from: source, edition, table, and how sure it is.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from condlube.lubrication import (
    catalogue,
    compatibility,
    factors,
    grades,
    grease_codes,
    grease_life,
    life_distribution,
    life_modification,
    quantity,
    rating_life,
    reduction,
    severity,
    temperature,
    trade,
    vibration_units,
    viscosity,
    viscosity_index,
    viscosity_ratio,
)
from condlube.lubrication.result import Result, result

STATUSES = {"confirmed", "from memory", "common practice", "worked from the printed formula", "library"}


def _grade(found: grades.Grades | severity.Zones) -> str:
    return str(found.grade if isinstance(found, grades.Grades) else found.zone) or "outside"


def _din(field: str) -> Callable[..., Any]:
    return lambda code: getattr(grease_codes.parse_din(code), field)


def _iso(field: str) -> Callable[..., Any]:
    return lambda code: getattr(grease_codes.parse_iso(code), field)


def _ranged(name: str, end: str) -> Callable[..., Any]:
    return lambda **inputs: getattr(getattr(reduction, name)(**inputs), end)


def _free_volume_filled(**inputs: float) -> Result:
    return quantity.first_fill(quantity.free_volume(**inputs))


REDUCTION_FACTORS = (
    "dust_and_moisture", "shock_and_vibration", "high_temperature", "load", "air_flow", "vertical_shaft",
)  # fmt: skip

QUANTITIES: dict[str, Callable[..., Any]] = {
    "temperature_factor": factors.temperature_factor,
    "contamination_factor": factors.contamination_factor,
    "moisture_factor": factors.moisture_factor,
    "vibration_factor": factors.vibration_factor,
    "position_factor": factors.position_factor,
    "design_factor": factors.design_factor,
    "trade_interval": trade.trade_interval,
    "zero_speed": trade.zero_speed,
    "relubrication_quantity": quantity.relubrication_quantity,
    "free_volume": quantity.free_volume,
    "first_fill": _free_volume_filled,
    "ounces": quantity.ounces,
    "bearing_factor": catalogue.bearing_factor,
    "speed_factor_limit": catalogue.speed_factor_limit,
    "temperature_multiplier": temperature.temperature_multiplier,
    "facilities_handbook_multiplier": temperature.facilities_handbook_multiplier,
    "l10_over_l01": lambda: life_distribution.life_at(10, 1.0),
    "planning_cap": lambda interval_h: catalogue.planning_cap(result(np.asarray(interval_h), "h")),
    "grease_life_slope": lambda: life_distribution.SLOPE,
    **{
        f"{name}.{end}": _ranged(name, end)
        for name in REDUCTION_FACTORS
        for end in ("low", "high")
    },
    "sealed_grease_life": grease_life.sealed_grease_life,
    "median_grease_life": grease_life.median_grease_life,
    "viscosity_at": viscosity.viscosity_at,
    "viscosity_index": viscosity_index.viscosity_index,
    "reference_l": lambda viscosity_100_mm2_s: viscosity_index.reference_viscosities(viscosity_100_mm2_s)[0],
    "reference_h": lambda viscosity_100_mm2_s: viscosity_index.reference_viscosities(viscosity_100_mm2_s)[1],
    "rated_viscosity": viscosity_ratio.rated_viscosity,
    "viscosity_ratio": viscosity_ratio.viscosity_ratio,
    "rating_life": rating_life.rating_life,
    "life_modification_factor": life_modification.life_modification_factor,
    "contamination_factor_ec": rating_life.contamination_factor_ec,
    "a1": lambda reliability: rating_life.A1[reliability],
    "a1_older": lambda reliability: rating_life.A1_OLDER[reliability],
    "fatigue_load_limit": rating_life.fatigue_load_limit,
    "viscosity_class": lambda **inputs: _grade(grades.viscosity_class(**inputs)),
    "nlgi_number": lambda **inputs: _grade(grades.nlgi_number(**inputs)),
    **{f"din_{field}": _din(field) for field in
       ("upper_degc", "lower_degc", "nlgi", "water", "extreme_pressure", "base_oil")},
    **{f"iso_{field}": _iso(field) for field in ("upper_degc", "lower_degc", "extreme_pressure")},
    **{
        chart: lambda in_service, assigned, chart=chart: compatibility.chart_cells(in_service, assigned)[chart]
        for chart in compatibility.CHARTS
    },
    "machine_zone": lambda **inputs: _grade(severity.machine_zone(**inputs)),
    "pump_zone": lambda **inputs: _grade(severity.pump_zone(**inputs)),
    "alarm": lambda **inputs: severity.alarm_and_trip(**inputs)[0],
    "trip": lambda **inputs: severity.alarm_and_trip(**inputs)[1],
    "amplitude_ratio": vibration_units.amplitude_ratio,
    "decibels": vibration_units.decibels,
    "rms_from_peak": vibration_units.rms_from_peak,
}  # fmt: skip


def _argument(text: str) -> float | int | bool | str:
    if text in ("True", "False"):
        return text == "True"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _rows() -> Iterator[Any]:
    for path in sorted(Path(__file__).parent.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as lines:
            for number, row in enumerate(csv.DictReader(lines), start=2):
                yield pytest.param(row, id=f"{path.stem}:{number}")


ROWS = list(_rows())


@pytest.mark.parametrize("row", ROWS)
def test_published_value(row: dict[str, str]) -> None:
    assert row["status"] in STATUSES
    assert row["source"]
    inputs = {name: _argument(text) for name, _, text in (part.partition("=") for part in row["inputs"].split())}
    found = QUANTITIES[row["quantity"]](**inputs)
    if isinstance(found, Result):
        assert bool(found.outside) == (row["value"] == "outside"), found.explain()
        found = found.value
    if row["value"] == "outside" and not isinstance(found, str):
        assert np.isnan(found)
    elif row["tolerance"] == "text":
        assert str(found) == row["value"]
    else:
        assert float(found) == pytest.approx(float(row["value"]), rel=1e-12, abs=float(row["tolerance"]) + 1e-12)


def test_enough_rows_and_sources() -> None:
    assert len(ROWS) >= 150
    assert len({str(row.id).split(":")[0] for row in ROWS}) >= 10
