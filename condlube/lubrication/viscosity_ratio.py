"""Rated viscosity and viscosity ratio κ by ISO 281.

References
----------
.. [1] ISO 281:2007, Rolling bearings, dynamic load ratings and rating life.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import number, numbers
from condlube.lubrication.result import FloatArray

KAPPA_STEPS = (
    (0.1, "below 0.1: full metal contact; ISO 281 does not apply"),
    (0.4, "below 0.4: boundary lubrication; EP additives, and a check of the static load"),
    (1.0, "below 1: mixed lubrication; EP or anti-wear additives, or a thicker base oil"),
    (1.5, "1 to 1.5: adequate film, little in reserve"),
    (4.0, "1.5 to 4: the film separates the surfaces; the range to aim for"),
    (np.inf, "4 and above: no further gain in life; more friction and heat"),
)
"""Upper ends of the ranges of κ and what they mean (common handbook guidance)."""


def rated_viscosity(speed_rpm: npt.ArrayLike, pitch_diameter_mm: npt.ArrayLike) -> FloatArray:
    """Viscosity ν1 (mm²/s) needed at operating temperature.

    45000·n^−0.83·Dpw^−0.5 below 1000 r/min, 4500·n^−0.5·Dpw^−0.5 from 1000 r/min on. The two meet with a step of 2.3 %
    at 1000 r/min, which is the standard's own; diagrams in catalogues differ from the equations by up to 20 %.

    Parameters
    ----------
    speed_rpm
        Speed, r/min.
    pitch_diameter_mm
        Dpw; the mean diameter (d + D)/2 may be used.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] ISO 281:2007, Rolling bearings, dynamic load ratings and rating life, 9.3.3.2.1 (equations from memory).
    """
    speed, pitch = numbers(speed_rpm=speed_rpm, pitch_diameter_mm=pitch_diameter_mm)
    return np.asarray(np.where(speed < 1000.0, 45_000.0 * speed**-0.83, 4_500.0 * speed**-0.5) * pitch**-0.5)


def viscosity_ratio(viscosity_mm2_s: npt.ArrayLike, rated_viscosity_mm2_s: npt.ArrayLike) -> FloatArray:
    """κ = ν/ν1: the viscosity at operating temperature over the rated one [ISO 281].

    Parameters
    ----------
    viscosity_mm2_s
        Viscosity at operating temperature, mm²/s.
    rated_viscosity_mm2_s
        ν1, mm²/s.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    actual, rated = numbers(viscosity_mm2_s=viscosity_mm2_s, rated_viscosity_mm2_s=rated_viscosity_mm2_s)
    return np.asarray(actual / rated)


def kappa_meaning(kappa: float) -> str:
    """What a viscosity ratio means [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    value = float(number("kappa", kappa))
    return next(meaning for end, meaning in KAPPA_STEPS if value < end)
