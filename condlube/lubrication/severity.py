"""Vibration severity zones A to D: ISO 20816-3 for machines, ISO 10816-7 for pumps.

Zone numbers are stated from memory of the standards. A value on a boundary belongs to the more severe zone.

References
----------
.. [1] ISO 20816-3:2022, Mechanical vibration, machines above 15 kW operating between 120 and 30,000 r/min, Annex A.
.. [2] ISO 10816-7:2009, Rotodynamic pumps for industrial applications, Table A.1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import classes, number, numbers
from condlube.lubrication.classes import SUPPORTS
from condlube.lubrication.result import BoolArray, CodeArray, FloatArray, Outside, result

ZONES = np.array(["A", "B", "C", "D"])

MACHINE_LIMITS = np.array([[[2.3, 4.5, 7.1], [3.5, 7.1, 11.0]], [[1.4, 2.8, 4.5], [2.3, 4.5, 7.1]]])
"""A/B, B/C, C/D (mm/s rms) by group (1 large, 2 medium) and support (rigid, flexible) [1]_."""

PUMP_LIMITS = np.array([[[2.5, 4.0, 6.6], [3.5, 5.0, 7.6]], [[3.2, 5.1, 8.5], [4.2, 6.1, 9.5]]])
"""A/B, B/C, C/D (mm/s rms) by category (I critical, II general) and power (to 200 kW, above) [2]_."""

LEAST_UPPER_B = float(min(MACHINE_LIMITS[..., 1].min(), PUMP_LIMITS[..., 1].min()))
"""Lowest upper limit of zone B of any machine in the standards, mm/s rms."""

PUMP_CATEGORIES = ("I", "II")


@dataclass(frozen=True, slots=True)
class Zones:
    """Zone limits and, per element, the zone.

    Attributes
    ----------
    zone
        Letter ``A`` to ``D``; an empty string where the standard does not apply.
    limits_mm_s_rms
        A/B, B/C and C/D on the last axis; NaN where the standard does not apply.
    reason
        :class:`~condlube.lubrication.result.Outside` code per element.
    """

    zone: npt.NDArray[np.str_]
    limits_mm_s_rms: FloatArray
    reason: CodeArray

    @property
    def outside(self) -> BoolArray:
        """True where the standard does not apply."""
        return np.asarray(self.reason != Outside.INSIDE)


def _zones(velocity: FloatArray, limits: FloatArray, *cases: tuple[BoolArray, Outside]) -> Zones:
    position = (velocity[..., np.newaxis] >= limits).sum(axis=-1)
    checked = result(np.zeros(velocity.shape), "", *cases)
    outside = checked.outside
    return Zones(
        np.asarray(np.where(outside, "", ZONES[position])),
        np.asarray(np.where(outside[..., np.newaxis], np.nan, limits)),
        checked.reason,
    )


def machine_group(power_kw: npt.ArrayLike) -> npt.NDArray[np.intp]:
    """0 for group 1 (above 300 kW), 1 for group 2 (15 to 300 kW) [1]_.

    For electrical machines the standard also sorts by shaft height (group 1 from 315 mm, group 2 from 160 mm).

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(np.where(number("power_kw", power_kw) > 300.0, 0, 1))


def machine_zone(
    velocity_mm_s_rms: npt.ArrayLike,
    power_kw: npt.ArrayLike,
    support: npt.ArrayLike,
    speed_rpm: npt.ArrayLike,
) -> Zones:
    """Zone of broadband housing velocity by ISO 20816-3 [1]_.

    Parameters
    ----------
    velocity_mm_s_rms
        The largest rms velocity on the bearing housing, 10 to 1000 Hz (2 to 1000 Hz below 600 r/min).
    power_kw
        Rated power. Scope: above 15 kW, to 50 MW.
    support
        ``rigid`` or ``flexible`` in the direction of measurement.
    speed_rpm
        Scope: 120 to 30,000 r/min.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    velocity, power, speed = numbers(velocity_mm_s_rms=velocity_mm_s_rms, power_kw=power_kw, speed_rpm=speed_rpm)
    column = classes("support", support, SUPPORTS)
    velocity, power, speed, column = np.broadcast_arrays(velocity, power, speed, column)
    return _zones(
        velocity,
        MACHINE_LIMITS[machine_group(power), column],
        ((power <= 15.0) | (power > 50_000.0), Outside.POWER_OUT_OF_SCOPE),
        ((speed < 120.0) | (speed > 30_000.0), Outside.SPEED_OUT_OF_SCOPE),
    )


def pump_zone(velocity_mm_s_rms: npt.ArrayLike, power_kw: npt.ArrayLike, category: npt.ArrayLike = "II") -> Zones:
    """Zone of broadband bearing housing velocity of a rotodynamic pump by ISO 10816-7 [2]_.

    Parameters
    ----------
    velocity_mm_s_rms
        The largest rms velocity on the bearing housing.
    power_kw
        Rated power. Scope: above 1 kW; the limits change at 200 kW.
    category
        ``I`` (high reliability, availability or safety asked) or ``II`` (general service).

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    velocity, power = numbers(velocity_mm_s_rms=velocity_mm_s_rms, power_kw=power_kw)
    row = classes("category", category, PUMP_CATEGORIES)
    velocity, power, row = np.broadcast_arrays(velocity, power, row)
    limits = PUMP_LIMITS[row, (power > 200.0).astype(np.intp)]
    return _zones(velocity, limits, (power <= 1.0, Outside.POWER_OUT_OF_SCOPE))


def alarm_and_trip(
    baseline_mm_s_rms: npt.ArrayLike, upper_b: npt.ArrayLike, upper_c: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Alarm and highest trip setting, mm/s rms [1]_.

    Alarm: the baseline plus 25 % of the upper limit of zone B, at most 1.25 times that limit. Trip: set within zone C
    or D, normally not above 1.25 times the upper limit of zone C; that ceiling is returned.

    Parameters
    ----------
    baseline_mm_s_rms
        Usual level of this machine, mm/s rms.
    upper_b
        Upper limit of zone B, mm/s rms.
    upper_c
        Upper limit of zone C, mm/s rms.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    baseline, b, c = numbers(baseline_mm_s_rms=baseline_mm_s_rms, upper_b=upper_b, upper_c=upper_c)
    return np.asarray(np.minimum(baseline + 0.25 * b, 1.25 * b)), np.asarray(1.25 * c)


def significant_change(change_mm_s_rms: npt.ArrayLike, upper_b: npt.ArrayLike) -> BoolArray:
    """Criterion II: a change, up or down, of more than 25 % of the upper limit of zone B is significant [1]_.

    Parameters
    ----------
    change_mm_s_rms
        Change, up or down, mm/s rms.
    upper_b
        Upper limit of zone B, mm/s rms.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    change, b = numbers(change_mm_s_rms=change_mm_s_rms, upper_b=upper_b)
    return np.asarray(np.abs(change) > 0.25 * b)
