"""How temperature shortens grease life: the 70 °C rule, and a second published rule beside it.

References
----------
.. [1] Bearing maker's catalogue, Rolling bearings, section Lubrication, relubrication intervals.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import flag, number
from condlube.lubrication.result import FloatArray

BASE_DEGC = 70.0
HALVING_K = 15.0
HOUSING_TO_RING_K = 10.0
"""Ring above housing where only the housing is measured (common practice: 5 to 10 K inner over outer ring)."""


def ring_temperature(housing_temperature_degc: npt.ArrayLike) -> FloatArray:
    """Bearing ring temperature estimated from the housing: 10 K above it [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(number("housing_temperature_degc", housing_temperature_degc) + HOUSING_TO_RING_K)


def temperature_multiplier(
    ring_temperature_degc: npt.ArrayLike, *, may_double: npt.ArrayLike = False, held_above_degc: float = 200.0
) -> FloatArray:
    """Multiplier on an interval that holds at 70 °C ring temperature: m = 2^((70 − t)/15).

    Halves per 15 K above 70 °C. Below, it is 1, or rises to at most 2 (reached at 55 °C) where ``may_double``: the
    catalogue rule allows one doubling, never for thrust roller or full-complement bearings. The steady exponent is an
    interpretation of a rule stated in steps.

    Parameters
    ----------
    ring_temperature_degc
        Bearing ring temperature, °C.
    may_double
        Whether one doubling below 70 °C is allowed, per element.
    held_above_degc
        The multiplier is held at its value here for hotter rings. Set it to the grease's limit: above that the answer
        is to look, not a faster clock.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.

    References
    ----------
    .. [1] Bearing maker's catalogue, Rolling bearings, section Lubrication, relubrication intervals.
    """
    temperature = number("ring_temperature_degc", ring_temperature_degc)
    held = number("temperature_degc", held_above_degc)
    cap = np.where(flag("may_double", may_double), 2.0, 1.0)
    return np.asarray(np.minimum(np.exp2((BASE_DEGC - np.minimum(temperature, held)) / HALVING_K), cap))


def facilities_handbook_multiplier(temperature_degc: npt.ArrayLike) -> FloatArray:
    """Multiplier by a stricter published rule: halve per 14 K (25 °F) above 65 °C (150 °F); 1 below.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] MIL-HDBK-1164, section 11.6.4 (maintenance of electric motors).
    """
    temperature = number("temperature_degc", temperature_degc)
    return np.asarray(np.minimum(np.exp2((65.0 - temperature) / 14.0), 1.0))
