"""Admissible ranges of the arguments, each stated once, and the checks that enforce them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import repeat
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from condlube.errors import InvalidArgument
from condlube.lubrication.result import BoolArray, FloatArray


class Range(NamedTuple):
    """Admissible range of an argument: ``low`` is excluded when ``open_low``."""

    low: float
    high: float
    unit: str = ""
    open_low: bool = False

    def __str__(self) -> str:
        start = f"above {self.low:g}" if self.open_low else f"{self.low:g}"
        unit = f" {self.unit}" if self.unit else ""
        return f"a finite number {start} to {self.high:g}{unit}"


ADMISSIBLE: Mapping[str, Range] = {
    "speed_rpm": Range(0, 500_000, "r/min", open_low=True),
    "bore_mm": Range(0, 3_000, "mm", open_low=True),
    "outside_diameter_mm": Range(0, 5_000, "mm", open_low=True),
    "width_mm": Range(0, 2_000, "mm", open_low=True),
    "pitch_diameter_mm": Range(0, 5_000, "mm", open_low=True),
    "mass_kg": Range(0, 50_000, "kg", open_low=True),
    "temperature_degc": Range(-100, 400, "°C"),
    "ring_temperature_degc": Range(-100, 400, "°C"),
    "housing_temperature_degc": Range(-100, 400, "°C"),
    "reference_temperature_degc": Range(-100, 400, "°C"),
    "velocity_mm_s_rms": Range(0, 1_000, "mm/s rms"),
    "baseline_mm_s_rms": Range(0, 1_000, "mm/s rms"),
    "speed_factor": Range(0, 1e9, "mm/min"),
    "speed_factor_bf": Range(0, 1e9, "mm/min"),
    "load_ratio_c_p": Range(0, 10_000, open_low=True),
    "load_share_p_c": Range(0, 2, open_low=True),
    "interval_h": Range(0, 10_000_000, "h", open_low=True),
    "life_h": Range(0, 10_000_000, "h", open_low=True),
    "life_10_h": Range(0, 10_000_000, "h", open_low=True),
    "elapsed_h": Range(0, 10_000_000, "h"),
    "grease_g": Range(0, 1_000_000, "g", open_low=True),
    "gun_g_per_stroke": Range(0, 50, "g", open_low=True),
    "density_g_cm3": Range(0.5, 3.0, "g/cm³"),
    "share": Range(0, 1),
    "factor": Range(0, 100, open_low=True),
    "viscosity_40_mm2_s": Range(0, 100_000, "mm²/s", open_low=True),
    "viscosity_100_mm2_s": Range(0, 10_000, "mm²/s", open_low=True),
    "viscosity_mm2_s": Range(0, 10_000_000, "mm²/s", open_low=True),
    "kappa": Range(0, 10_000, open_low=True),
    "contaminated_load_factor": Range(0, 1e6),
    "extreme_pressure": Range(0, 1),
    "rated_viscosity_mm2_s": Range(0, 10_000_000, "mm²/s", open_low=True),
    "load_n": Range(0, 1e9, "N", open_low=True),
    "dynamic_rating_n": Range(0, 1e9, "N", open_low=True),
    "static_rating_n": Range(0, 1e9, "N", open_low=True),
    "fatigue_limit_n": Range(0, 1e9, "N", open_low=True),
    "reliability_percent": Range(90, 99, "%"),
    "penetration_01mm": Range(0, 600, "0.1 mm", open_low=True),
    "power_kw": Range(0, 1_000_000, "kW", open_low=True),
    "speed_share": Range(0, 100, open_low=True),
    "half_lives": Range(0, 50),
    "life_percent": Range(0, 99.9, "%", open_low=True),
    "percent": Range(0, 99.9, "%", open_low=True),
    "horizon_h": Range(0, 10_000_000, "h"),
    "horizon_days": Range(0, 100_000, "days"),
    "peak": Range(0, 1e12),
    "rms": Range(0, 1e12),
    "displacement_um_peak_to_peak": Range(0, 1e9, "µm"),
    "change_mm_s_rms": Range(-1_000, 1_000, "mm/s rms"),
    "upper_b": Range(0, 1_000, "mm/s rms", open_low=True),
    "upper_c": Range(0, 1_000, "mm/s rms", open_low=True),
    "level": Range(0, 1e12, open_low=True),
    "ratio": Range(0, 1e12, open_low=True),
    "frequency_hz": Range(0, 1e6, "Hz", open_low=True),
    "level_db": Range(-400, 400, "dB"),
    "probability": Range(0, 1),
    "running_h_per_day": Range(0.01, 24, "h"),
}


def _first(values: npt.NDArray[np.generic], bad: BoolArray) -> object:
    return values[bad].tolist()[0] if values.ndim else values.tolist()


def number(argument: str, value: npt.ArrayLike, admissible: Range | None = None) -> FloatArray:
    """``value`` as a float array, every element inside the admissible range of ``argument``.

    Parameters
    ----------
    argument
        Name of the argument, for the error.
    value
        What was given.
    admissible
        Range to check against; the one of :data:`ADMISSIBLE` by default.

    Raises
    ------
    InvalidArgument
        For text, booleans, NaN, infinity or a value outside the range; names the first such value.
    """
    limits = admissible or ADMISSIBLE[argument]
    try:
        values = np.asarray(value)
    except ValueError:
        raise InvalidArgument(argument, value, str(limits)) from None
    if values.dtype.kind not in "iuf":
        raise InvalidArgument(argument, value if values.ndim == 0 or values.size < 4 else values[:3], str(limits))
    values = values.astype(np.float64, copy=False)
    above_low = values > limits.low if limits.open_low else values >= limits.low
    bad = ~(above_low & (values <= limits.high))
    if bad.any():
        raise InvalidArgument(argument, _first(values, bad), str(limits))
    return values


def numbers(**arguments: npt.ArrayLike) -> list[FloatArray]:
    """Several arguments checked and broadcast against each other, in the order given.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return together(**{name: number(name, value) for name, value in arguments.items()})


def together(**arrays: FloatArray) -> list[FloatArray]:
    """Arrays broadcast against each other; shapes that do not fit give one clear error.

    Raises
    ------
    InvalidArgument
        Shapes that do not broadcast.
    """
    try:
        return list(np.broadcast_arrays(*arrays.values()))
    except ValueError:
        shapes = {name: np.shape(array) for name, array in arrays.items()}
        raise InvalidArgument(", ".join(arrays), shapes, "shapes that broadcast against each other") from None


def flag(argument: str, value: npt.ArrayLike) -> BoolArray:
    """``value`` as a boolean array; anything but booleans is an error.

    Parameters
    ----------
    argument
        Name of the argument, for the error.
    value
        What was given.

    Raises
    ------
    InvalidArgument
        Anything but booleans.
    """
    values = np.asarray(value)
    if values.dtype.kind != "b":
        raise InvalidArgument(argument, value, "True or False")
    return values


def _positions(values: npt.NDArray[np.generic], choices: tuple[str, ...]) -> npt.NDArray[np.intp]:
    if values.dtype.kind == "O":
        index: dict[str | None, int] = {name: at for at, name in enumerate(choices)}
        listed = [name if isinstance(name, str) else None for name in values.ravel().tolist()]
        found = map(index.get, listed, repeat(-1))
        return np.fromiter(found, dtype=np.intp, count=values.size).reshape(values.shape)
    position = np.full(values.shape, -1, dtype=np.intp)
    if values.dtype.kind in "UT":
        for at, name in enumerate(choices):
            position[np.asarray(values == name, dtype=np.bool_)] = at
    return position


def classes(argument: str, names: npt.ArrayLike, known: Iterable[str]) -> npt.NDArray[np.intp]:
    """Position of each name in ``known``; an unknown name is an error that lists the known ones.

    Parameters
    ----------
    argument
        Name of the argument, for the error.
    names
        Names given.
    known
        Names known.

    Raises
    ------
    InvalidArgument
        An unknown name.
    """
    choices = tuple(known)
    values = np.asarray(names)
    position = _positions(values, choices)
    bad = position < 0
    if bad.any():
        raise InvalidArgument(argument, _first(values, bad), f"one of {', '.join(choices)}")
    return position


def choose(argument: str, names: npt.ArrayLike, table: Mapping[str, float]) -> FloatArray:
    """The table's value for each name.

    Parameters
    ----------
    argument
        Name of the argument, for the error.
    names
        Names given.
    table
        Value by known name.

    Raises
    ------
    InvalidArgument
        An unknown name.
    """
    return np.asarray(np.array(list(table.values()), dtype=np.float64)[classes(argument, names, table)])
