"""Viscosity index by ASTM D2270."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.errors import InvalidArgument
from condlube.lubrication.checks import numbers
from condlube.lubrication.result import FloatArray, Outside, Result, result

COEFFICIENTS = np.array(
    [
        [2.0, 1.14673, 1.7576, -0.109, 0.84155, 1.5521, -0.077],
        [3.8, 3.38095, -15.4952, 33.196, 0.78571, 1.7929, -0.183],
        [4.4, 2.5000, -7.2143, 13.812, 0.82143, 1.5679, 0.119],
        [5.0, 0.10100, 16.6350, -45.469, 0.04985, 9.1613, -18.557],
        [6.4, 3.35714, -23.5643, 78.466, 0.22619, 7.7369, -16.656],
        [7.0, 0.01191, 21.4750, -72.870, 0.79762, -0.7321, 14.610],
        [7.7, 0.41858, 16.1558, -56.040, 0.05794, 10.5156, -28.240],
        [9.0, 0.88779, 7.5527, -16.600, 0.26665, 6.7015, -10.810],
        [12.0, 0.76720, 10.7972, -38.180, 0.20073, 8.4658, -22.490],
        [15.0, 0.97305, 5.3135, -2.200, 0.28889, 5.9741, -4.930],
        [18.0, 0.97256, 5.2500, -0.980, 0.24504, 7.4160, -16.730],
        [22.0, 0.91413, 7.4759, -21.820, 0.20323, 9.1267, -34.230],
        [28.0, 0.87031, 9.7157, -50.770, 0.18411, 10.1015, -46.750],
        [40.0, 0.84703, 12.6752, -133.310, 0.17029, 11.4866, -80.620],
        [55.0, 0.85921, 11.1009, -83.190, 0.17130, 11.3680, -76.940],
        [70.0, 0.83531, 14.6731, -216.246, 0.16841, 11.8493, -96.947],
    ]
)
"""Lowest viscosity at 100 °C of the row, then L = a·Y² + b·Y + c and H = d·Y² + e·Y + f (appendix of the standard).
The rows to 70 mm²/s reproduce the standard's table to 0.1 %."""


def reference_viscosities(viscosity_100_mm2_s: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """L and H of the standard: viscosities at 40 °C of oils of index 0 and 100 with this viscosity at 100 °C [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    (y,) = numbers(viscosity_100_mm2_s=viscosity_100_mm2_s)
    row = np.searchsorted(COEFFICIENTS[1:, 0], y, side="right")
    _, a, b, c, d, e, f = np.moveaxis(COEFFICIENTS[row], -1, 0)
    return np.asarray((a * y + b) * y + c), np.asarray((d * y + e) * y + f)


def viscosity_index(viscosity_40_mm2_s: npt.ArrayLike, viscosity_100_mm2_s: npt.ArrayLike) -> Result:
    """Viscosity index from the viscosities at 40 and 100 °C (mm²/s); not rounded.

    100·(L − U)/(L − H) up to 100 (procedure A), (10^N − 1)/0.00715 + 100 with N = log(H/U)/log(Y) above (procedure B).
    *Outside* below 2 mm²/s at 100 °C.

    Parameters
    ----------
    viscosity_40_mm2_s
        Viscosity at 40 °C, mm²/s.
    viscosity_100_mm2_s
        Viscosity at 100 °C, mm²/s; the lower.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] ASTM D2270, Standard Practice for Calculating Viscosity Index from Kinematic Viscosity at 40 °C and 100 °C.
    """
    u, y = numbers(viscosity_40_mm2_s=viscosity_40_mm2_s, viscosity_100_mm2_s=viscosity_100_mm2_s)
    wrong = y >= u
    if wrong.any():
        raise InvalidArgument("viscosity_100_mm2_s", y[wrong].tolist()[0], "less than the viscosity at 40 °C")
    thin = y < 2.0
    y_used = np.where(thin, 2.0, y)
    low, high = reference_viscosities(y_used)
    by_a = 100.0 * (low - u) / (low - high)
    by_b = (10.0 ** (np.log10(high / u) / np.log10(y_used)) - 1.0) / 0.00715 + 100.0
    return result(np.asarray(np.where(u >= high, by_a, by_b)), "", (thin, Outside.VISCOSITY_INDEX_RANGE))
