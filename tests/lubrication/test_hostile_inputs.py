"""Negative, NaN, zero, text and absurd input: one clear error that names argument, value and admissible range."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest

from condlube.errors import InvalidArgument
from condlube.lubrication import (
    catalogue,
    factors,
    grades,
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
from condlube.lubrication.checks import number, numbers

BALL = "deep_groove_ball"

CALLS: dict[str, tuple[Callable[..., Any], dict[str, Any]]] = {
    "trade_interval": (trade.trade_interval, {"speed_rpm": 1800.0, "bore_mm": 65.0, "factor": 10.0}),
    "zero_speed": (trade.zero_speed, {"bore_mm": 65.0}),
    "speed_factor": (
        catalogue.speed_factor, {"speed_rpm": 1800.0, "bore_mm": 65.0, "outside_diameter_mm": 140.0},
    ),
    "speed_factor_limit": (catalogue.speed_factor_limit, {"bearing_type": BALL, "load_ratio_c_p": 15.0}),
    "catalogue_interval": (
        catalogue.catalogue_interval,
        {"speed_rpm": 1800.0, "bore_mm": 65.0, "outside_diameter_mm": 140.0, "load_ratio_c_p": 9.0,
         "bearing_type": BALL},
    ),
    "temperature_multiplier": (temperature.temperature_multiplier, {"ring_temperature_degc": 80.0}),
    "temperature_factor": (factors.temperature_factor, {"housing_temperature_degc": 60.0}),
    "vibration_factor": (factors.vibration_factor, {"velocity_mm_s_rms": 2.0}),
    "relubrication_quantity": (quantity.relubrication_quantity, {"outside_diameter_mm": 140.0, "width_mm": 33.0}),
    "free_volume": (
        quantity.free_volume, {"bore_mm": 65.0, "outside_diameter_mm": 140.0, "width_mm": 33.0, "mass_kg": 2.1},
    ),
    "strokes": (partial(quantity.strokes, gun_g_per_stroke=1.0), {"grease_g": 20.0}),
    "ounces": (quantity.ounces, {"grease_g": 20.0}),
    "viscosity_at": (
        viscosity.viscosity_at,
        {"temperature_degc": 70.0, "viscosity_40_mm2_s": 100.0, "viscosity_100_mm2_s": 11.0},
    ),
    "viscosity_index": (
        viscosity_index.viscosity_index, {"viscosity_40_mm2_s": 100.0, "viscosity_100_mm2_s": 11.0},
    ),
    "viscosity_class": (grades.viscosity_class, {"viscosity_40_mm2_s": 100.0}),
    "nlgi_number": (grades.nlgi_number, {"penetration_01mm": 280.0}),
    "rated_viscosity": (viscosity_ratio.rated_viscosity, {"speed_rpm": 1800.0, "pitch_diameter_mm": 102.5}),
    "viscosity_ratio": (
        viscosity_ratio.viscosity_ratio, {"viscosity_mm2_s": 20.0, "rated_viscosity_mm2_s": 10.0},
    ),
    "rating_life": (
        rating_life.rating_life, {"speed_rpm": 1800.0, "load_ratio_c_p": 10.0, "bearing_type": BALL},
    ),
    "fatigue_load_limit": (
        rating_life.fatigue_load_limit,
        {"static_rating_n": 60e3, "pitch_diameter_mm": 102.5, "bearing_type": BALL},
    ),
    "contamination_factor_ec": (
        rating_life.contamination_factor_ec,
        {"kappa": 1.0, "pitch_diameter_mm": 100.0, "cleanliness": "severe"},
    ),
    "life_modification_factor": (
        life_modification.life_modification_factor,
        {"kappa": 1.0, "contaminated_load_factor": 0.2, "bearing_type": BALL},
    ),
    "fatigue_share": (rating_life.fatigue_share, {"elapsed_h": 100.0, "life_10_h": 1000.0}),
    "sealed_grease_life": (
        grease_life.sealed_grease_life, {"speed_share": 0.5, "temperature_degc": 80.0, "load_share_p_c": 0.1},
    ),
    "median_grease_life": (grease_life.median_grease_life, {"temperature_degc": 80.0}),
    "failed_share": (life_distribution.failed_share, {"elapsed_h": 100.0, "life_h": 1000.0}),
    "life_at": (life_distribution.life_at, {"percent": 10.0, "life_h": 1000.0}),
    "high_temperature": (reduction.high_temperature, {"ring_temperature_degc": 80.0}),
    "load": (reduction.load, {"load_share_p_c": 0.1}),
    "machine_zone": (
        severity.machine_zone,
        {"velocity_mm_s_rms": 2.0, "power_kw": 100.0, "support": "rigid", "speed_rpm": 1500.0},
    ),
    "pump_zone": (severity.pump_zone, {"velocity_mm_s_rms": 2.0, "power_kw": 100.0}),
    "decibels": (vibration_units.decibels, {"ratio": 2.0}),
    "rms_from_peak": (vibration_units.rms_from_peak, {"peak": 2.0}),
}  # fmt: skip

NUMERIC = [
    (name, argument)
    for name, (_, arguments) in CALLS.items()
    for argument, value in arguments.items()
    if not isinstance(value, str)
]
NAMES = [
    (name, argument)
    for name, (_, arguments) in CALLS.items()
    for argument, value in arguments.items()
    if isinstance(value, str)
]


@pytest.mark.parametrize(("name", "argument"), NUMERIC)
@pytest.mark.parametrize(
    "bad", [math.nan, math.inf, -math.inf, -1e9, 1e300, "fast", None, True, [1.0, math.nan], 3 + 4j, {}], ids=str
)
def test_bad_number(name: str, argument: str, bad: object) -> None:
    function, arguments = CALLS[name]
    with pytest.raises(InvalidArgument, match="expected a finite number") as caught:
        function(**{**arguments, argument: bad})
    assert caught.value.argument == argument
    assert " to " in caught.value.expected


@pytest.mark.parametrize(("name", "argument"), NAMES)
@pytest.mark.parametrize("bad", ["", "ball bearing", 3, None, ["deep_groove_ball", "no such"], math.nan], ids=str)
def test_bad_name(name: str, argument: str, bad: object) -> None:
    function, arguments = CALLS[name]
    with pytest.raises(InvalidArgument, match="expected one of"):
        function(**{**arguments, argument: bad})


@pytest.mark.parametrize("argument", ["speed_rpm", "bore_mm", "factor"])
def test_zero_is_refused_where_it_has_no_meaning(argument: str) -> None:
    arguments = {"speed_rpm": 1800.0, "bore_mm": 65.0, "factor": 10.0, argument: 0.0}
    with pytest.raises(InvalidArgument, match="above 0"):
        trade.trade_interval(**arguments)


def test_error_names_the_first_bad_value() -> None:
    with pytest.raises(InvalidArgument, match=r"speed_rpm = -3\.0: expected a finite number above 0 to 500000 r/min"):
        number("speed_rpm", [1800.0, -3.0, -4.0])


def test_shapes_that_do_not_fit() -> None:
    with pytest.raises(InvalidArgument, match="broadcast"):
        numbers(speed_rpm=[1.0, 2.0], bore_mm=[1.0, 2.0, 3.0])


def test_ragged_list() -> None:
    with pytest.raises(InvalidArgument, match="speed_rpm"):
        number("speed_rpm", [1.0, [2.0]])  # type: ignore[list-item]


@pytest.mark.parametrize("empty", [[], np.array([]), np.zeros((0, 3))])
def test_empty_gives_empty(empty: Any) -> None:
    found = trade.trade_interval(empty, 65.0, 10.0)
    assert found.value.shape == np.shape(empty)
    assert not found.outside.any()


@pytest.mark.parametrize("kind", [np.int16, np.int64, np.uint8, np.float32])
def test_number_types(kind: type) -> None:
    assert trade.trade_interval(kind(100), kind(100), kind(10)).value == pytest.approx(136_000)
