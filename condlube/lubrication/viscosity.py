"""Kinematic viscosity at a temperature, by ASTM D341."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.errors import InvalidArgument
from condlube.lubrication.checks import numbers
from condlube.lubrication.result import FloatArray, Outside, Result, result

KELVIN = 273.15
LOWEST_MM2_S = 2.0


def _log_log(viscosity: FloatArray) -> FloatArray:
    return np.asarray(np.log10(np.log10(viscosity + 0.7)))


def viscosity_at(
    temperature_degc: npt.ArrayLike, viscosity_40_mm2_s: npt.ArrayLike, viscosity_100_mm2_s: npt.ArrayLike
) -> Result:
    """Kinematic viscosity (mm²/s) at a temperature from the values at 40 and 100 °C.

    log10 log10(ν + 0.7) = A − B·log10(T), T in kelvin; holds from 2 mm²/s upwards, *outside* below (there the
    standard asks for its full form).

    Parameters
    ----------
    temperature_degc
        Temperature, °C.
    viscosity_40_mm2_s, viscosity_100_mm2_s
        Base oil viscosity at 40 and 100 °C; the one at 100 °C is the lower.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] ASTM D341, Standard Practice for Viscosity-Temperature Equations and Charts for Liquid Petroleum Products.
    """
    temperature, v40, v100 = numbers(
        temperature_degc=temperature_degc,
        viscosity_40_mm2_s=viscosity_40_mm2_s,
        viscosity_100_mm2_s=viscosity_100_mm2_s,
    )
    wrong = v100 >= v40
    if wrong.any():
        raise InvalidArgument("viscosity_100_mm2_s", v100[wrong].tolist()[0], "less than the viscosity at 40 °C")
    t40, t100, t = (np.log10(degrees + KELVIN) for degrees in (40.0, 100.0, temperature))
    with np.errstate(invalid="ignore", divide="ignore"):
        w40, w100 = _log_log(v40), _log_log(v100)
        slope = (w40 - w100) / (t100 - t40)
        exponent = np.minimum(w40 - slope * (t - t40), 2.0)
        value = 10.0 ** (10.0**exponent) - 0.7
    return result(value, "mm²/s", (~(value >= LOWEST_MM2_S) | (v100 < LOWEST_MM2_S), Outside.THIN_OIL))
