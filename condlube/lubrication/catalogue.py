"""Relubrication interval by the catalogue rule: speed factor n·dm·bf, load ratio C/P, 70 °C.

The interval is the L01 grease life: one bearing in a hundred is expected to fail by then because of its grease.

References
----------
.. [1] Bearing maker's catalogue, Rolling bearings, section Lubrication: diagram "Relubrication intervals at 70 °C",
   table of bearing factors and recommended limits for n·dm, adjustments.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import choose, classes, number, numbers
from condlube.lubrication.classes import ROTATING_RINGS, SEALS
from condlube.lubrication.result import FloatArray, Outside, Result, result

CAP_H = 30_000.0
LARGE_BORE_MM = 300.0
UNCERTAINTY = 2.0
"""The diagram is read to within a factor of two either way: the anchors are from memory of the curve."""

POSITION = {"horizontal": 1.0, "inclined": 0.5, "vertical": 0.5}
"""Vertical shaft halves the interval; an inclined one is treated as vertical (engineering judgement)."""

DIAGRAM = {0.0: 62_500.0, 1e5: 25_000.0, 2e5: 10_000.0, 4e5: 4_000.0, 6e5: 1_400.0, 8e5: 490.0}
"""Hours by n·dm·bf for C/P ≥ 15; between them the logarithm of the hours is linear."""

DIAGRAM_LOAD = {4.0: 0.28, 8.0: 0.65, 15.0: 1.0}
"""Factor by C/P; between them its logarithm is linear in that of C/P."""

DIAGRAM_SPEED_FACTOR, DIAGRAM_LOG10_H = np.array(list(DIAGRAM)), np.log10(list(DIAGRAM.values()))
DIAGRAM_LOAD_RATIO, DIAGRAM_LOG10_LOAD = np.log(list(DIAGRAM_LOAD)), np.log10(list(DIAGRAM_LOAD.values()))


class BearingFactor(NamedTuple):
    """Factor bf and the recommended limits of n·dm (mm/min) at C/P of 4, 8 and 15 or more."""

    bf: float
    limit_at_4: float
    limit_at_8: float
    limit_at_15: float


BEARING_FACTORS = {
    "deep_groove_ball": BearingFactor(1, 300e3, 400e3, 500e3),
    "angular_contact_ball": BearingFactor(1, 300e3, 400e3, 500e3),
    "self_aligning_ball": BearingFactor(1, 300e3, 400e3, 500e3),
    "cylindrical_roller": BearingFactor(1.5, 150e3, 300e3, 450e3),
    "cylindrical_roller_locating": BearingFactor(2, 100e3, 200e3, 300e3),
    "cylindrical_roller_axial_load": BearingFactor(4, 60e3, 120e3, 200e3),
    "cylindrical_roller_full_complement": BearingFactor(4, 20e3, 20e3, 20e3),
    "needle_roller": BearingFactor(3, 100e3, 200e3, 350e3),
    "tapered_roller": BearingFactor(2, 200e3, 300e3, 350e3),
    "spherical_roller": BearingFactor(2, 80e3, 150e3, 250e3),
    "spherical_roller_light": BearingFactor(2, 100e3, 200e3, 350e3),
    "spherical_roller_241": BearingFactor(2, 50e3, 80e3, 150e3),
    "spherical_roller_axial_load": BearingFactor(6, 30e3, 50e3, 150e3),
    "toroidal_roller": BearingFactor(2, 100e3, 200e3, 350e3),
    "thrust_ball": BearingFactor(2, 100e3, 150e3, 200e3),
    "cylindrical_roller_thrust": BearingFactor(10, 30e3, 60e3, 100e3),
    "spherical_roller_thrust": BearingFactor(4, 60e3, 120e3, 200e3),
}
"""Rows of the table [1]_. ``spherical_roller`` is the stricter row (223, 230, 231, 232, 240), and
``spherical_roller_light`` series 213, 222, 238, 239; ``..._axial_load`` is Fa/Fr above e, or a constant axial load on a
cylindrical roller bearing. Ball and the first two cylindrical rows are confirmed; the others are from memory. Of the
full-complement row only the limit at C/P = 8 is remembered, and not surely: it stands for every load."""

NO_DOUBLING = ("cylindrical_roller_full_complement", "cylindrical_roller_thrust", "spherical_roller_thrust")
"""Types whose interval is never doubled below 70 °C."""


def bearing_factor(bearing_type: npt.ArrayLike) -> FloatArray:
    """bf by row of :data:`BEARING_FACTORS` [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("bearing_type", bearing_type, {name: row.bf for name, row in BEARING_FACTORS.items()})


def may_double(bearing_type: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Whether one doubling below 70 °C is allowed for this type [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("bearing_type", bearing_type, {name: float(name not in NO_DOUBLING) for name in BEARING_FACTORS}) > 0


def speed_factor(
    speed_rpm: npt.ArrayLike,
    bore_mm: npt.ArrayLike,
    outside_diameter_mm: npt.ArrayLike,
    rotating_ring: npt.ArrayLike = "inner",
) -> FloatArray:
    """A = n·dm (mm/min) with dm = (d + D)/2; n·D where the outer ring rotates [1]_.

    Parameters
    ----------
    speed_rpm
        Speed, r/min.
    bore_mm
        Bore d, mm.
    outside_diameter_mm
        Outside diameter D, mm.
    rotating_ring
        ``inner`` or ``outer``.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    speed, bore, outside = numbers(speed_rpm=speed_rpm, bore_mm=bore_mm, outside_diameter_mm=outside_diameter_mm)
    inner = classes("rotating_ring", rotating_ring, ROTATING_RINGS) == 0
    return np.asarray(speed * np.where(inner, 0.5 * (bore + outside), outside))


def speed_factor_limit(bearing_type: npt.ArrayLike, load_ratio_c_p: npt.ArrayLike) -> FloatArray:
    """Recommended upper limit of n·dm (mm/min) for grease [1]_; between printed load ratios linear in log C/P.

    Parameters
    ----------
    bearing_type
        Class name of the type.
    load_ratio_c_p
        C/P.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    ratio = np.log(np.clip(number("load_ratio_c_p", load_ratio_c_p), 4.0, 15.0))
    row = classes("bearing_type", bearing_type, BEARING_FACTORS)
    table = np.array([factors[1:] for factors in BEARING_FACTORS.values()], dtype=np.float64)
    at_4, at_8, at_15 = table[row, 0], table[row, 1], table[row, 2]
    x4, x8, x15 = DIAGRAM_LOAD_RATIO
    below_8 = at_4 + (at_8 - at_4) * (ratio - x4) / (x8 - x4)
    above_8 = at_8 + (at_15 - at_8) * (ratio - x8) / (x15 - x8)
    return np.asarray(np.where(ratio < x8, below_8, above_8))


def diagram(speed_factor_bf: npt.ArrayLike, load_ratio_c_p: npt.ArrayLike) -> Result:
    """Hours read off an approximation of the relubrication diagram at 70 °C; uncertain to a factor of two [1]_.

    Log-linear between anchors remembered from the curve for C/P ≥ 15: no tabulated reading is published. The curves
    for C/P = 8 and 4 are 0.65 and 0.28 of it, the geometric means of two published load factors for grease life (0.5
    and 0.2 for capped ball bearings in the catalogue; 0.85 and 0.4 in the reduction-factor method).

    Parameters
    ----------
    speed_factor_bf
        n·dm·bf, mm/min. *Outside* above 800,000, where the diagram ends.
    load_ratio_c_p
        C/P. *Outside* below 4; above 15 the curve for 15 holds.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    factor, ratio = numbers(speed_factor_bf=speed_factor_bf, load_ratio_c_p=load_ratio_c_p)
    hours = np.interp(factor, DIAGRAM_SPEED_FACTOR, DIAGRAM_LOG10_H)
    load = np.interp(np.log(ratio), DIAGRAM_LOAD_RATIO, DIAGRAM_LOG10_LOAD)
    return result(
        10.0 ** (hours + load),
        "h",
        (ratio < 4.0, Outside.LOAD_TOO_HIGH),
        (factor > DIAGRAM_SPEED_FACTOR[-1], Outside.BEYOND_DIAGRAM),
    )


def catalogue_interval(
    speed_rpm: npt.ArrayLike,
    bore_mm: npt.ArrayLike,
    outside_diameter_mm: npt.ArrayLike,
    *,
    bearing_type: npt.ArrayLike,
    load_ratio_c_p: npt.ArrayLike = 15.0,
    orientation: npt.ArrayLike = "horizontal",
    rotating_ring: npt.ArrayLike = "inner",
    seal: npt.ArrayLike = "open",
    cage_factor: npt.ArrayLike = 1.0,
) -> Result:
    """L01 relubrication interval at 70 °C ring temperature, in running hours, not yet capped.

    Parameters
    ----------
    speed_rpm, bore_mm, outside_diameter_mm
        Shaft speed (r/min) and boundary dimensions (mm).
    bearing_type
        A row of :data:`BEARING_FACTORS`.
    load_ratio_c_p
        Dynamic load rating over equivalent load.
    orientation, rotating_ring, seal
        Class names of :mod:`condlube.lubrication.classes`.
    cage_factor
        0.5 for cylindrical roller bearings with certain cages (see the maker's table), else 1.

    Returns
    -------
    Result
        Hours at 70 °C; multiply by :func:`~condlube.lubrication.temperature.temperature_multiplier`, then apply
        :func:`planning_cap`. *Outside* for shielded and sealed bearings, C/P below 4 and speed factors above the
        recommended limit. Uncertain to :data:`UNCERTAINTY` either way.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.

    References
    ----------
    .. [1] Bearing maker's catalogue, see the module.
    """
    a = speed_factor(speed_rpm, bore_mm, outside_diameter_mm, rotating_ring)
    base = diagram(a * bearing_factor(bearing_type), load_ratio_c_p)
    large = np.where(number("bore_mm", bore_mm) > LARGE_BORE_MM, 0.5, 1.0)
    adjusted = base.scaled(choose("orientation", orientation, POSITION) * large * number("factor", cage_factor))
    too_fast = a > speed_factor_limit(bearing_type, load_ratio_c_p)
    return adjusted.restricted(
        (classes("seal", seal, SEALS) > 0, Outside.NOT_REGREASABLE), (too_fast, Outside.SPEED_FACTOR_TOO_HIGH)
    )


def planning_cap(interval: Result) -> Result:
    """The interval, at most 30,000 h: longer ones are not to be used [1]_."""
    return Result(np.asarray(np.minimum(interval.value, CAP_H)), interval.reason, interval.unit)
