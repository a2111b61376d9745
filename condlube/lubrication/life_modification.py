"""Life modification factor a_ISO by ISO 281.

References
----------
.. [1] ISO 281:2007, Rolling bearings, dynamic load ratings and rating life, 9.3.3.3, equations 31 to 42 (constants
   from published quotations of the standard).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import choose, numbers
from condlube.lubrication.classes import BEARING_TYPES, THRUST_TYPES
from condlube.lubrication.rating_life import is_ball
from condlube.lubrication.result import Outside, Result, result

HIGHEST = 50.0
LOWEST_KAPPA, HIGHEST_KAPPA, HIGHEST_LOAD_FACTOR = 0.1, 4.0, 5.0
KAPPA_JOINTS = (0.4, 1.0)
KAPPA_EXPONENT = np.array([0.054381, 0.19087, 0.071739])
BALL_CONSTANT, BALL_KAPPA_CONSTANT = 2.5671, np.array([2.2649, 1.9987, 1.9987])
ROLLER_CONSTANT, ROLLER_KAPPA_CONSTANT = 1.5859, np.array([1.3993, 1.2348, 1.2348])
THRUST_DIVISOR_BALL, THRUST_DIVISOR_ROLLER = 3.0, 2.5


def _divisor(bearing_type: npt.ArrayLike) -> npt.NDArray[np.float64]:
    thrust = choose("bearing_type", bearing_type, {name: float(name in THRUST_TYPES) for name in BEARING_TYPES}) > 0.0
    return np.where(thrust, np.where(is_ball(bearing_type), THRUST_DIVISOR_BALL, THRUST_DIVISOR_ROLLER), 1.0)


def life_modification_factor(
    kappa: npt.ArrayLike, contaminated_load_factor: npt.ArrayLike, bearing_type: npt.ArrayLike
) -> Result:
    """a_ISO; the modified rating life is Lnmh = a1·a_ISO·L10h [1]_.

    Radial ball: 0.1·[1 − (2.5671 − c/κ^e)^0.83·x^(1/3)]^−9.3; radial roller: 0.1·[1 − (1.5859 − c/κ^e)·x^0.4]^−9.185,
    with c and e by range of κ (0.1 to 0.4 to 1 to 4). Thrust bearings take x/3 (ball) or x/2.5 (roller). The printed
    constants leave a step of 0.04 % at κ = 0.4.

    Parameters
    ----------
    kappa
        Viscosity ratio; above 4 the value for 4 holds (the standard's rule), below 0.1 *outside*.
    contaminated_load_factor
        x = eC·Cu/P; above 5 the value for 5 holds (the standard's rule); 0 for severe contamination.
    bearing_type
        Class name.

    Returns
    -------
    Result
        0.1 to 50: the upper limit is the standard's; at κ = 0.1 the rounded constants would give 0.09995 for roller
        bearings, where the equations mean 0.1.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    ratio, x = numbers(kappa=kappa, contaminated_load_factor=contaminated_load_factor)
    ball, divisor = is_ball(bearing_type), _divisor(bearing_type)
    ratio, x, ball, divisor = np.broadcast_arrays(ratio, x, ball, divisor)
    used = np.clip(ratio, LOWEST_KAPPA, HIGHEST_KAPPA)
    x_used = np.minimum(x, HIGHEST_LOAD_FACTOR) / divisor
    part = np.searchsorted(KAPPA_JOINTS, used, side="right")
    power = used ** KAPPA_EXPONENT[part]
    by_ball = 1.0 - (BALL_CONSTANT - BALL_KAPPA_CONSTANT[part] / power) ** 0.83 * np.cbrt(x_used)
    by_roller = 1.0 - (ROLLER_CONSTANT - ROLLER_KAPPA_CONSTANT[part] / power) * x_used**0.4
    bracket = np.where(ball, by_ball, by_roller)
    capped = np.where(ball, 500.0 ** (-1.0 / 9.3), 500.0 ** (-1.0 / 9.185))
    value = 0.1 * np.clip(bracket, capped, 1.0) ** np.where(ball, -9.3, -9.185)
    return result(np.minimum(value, HIGHEST), "", (ratio < LOWEST_KAPPA, Outside.KAPPA_TOO_LOW))
