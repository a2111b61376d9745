"""Relubrication interval by the trade formula T = K (14·10⁶ / (n √d) − 4 d)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import numbers
from condlube.lubrication.result import FloatArray, Outside, Result, result


def zero_speed(bore_mm: npt.ArrayLike) -> FloatArray:
    """Speed (r/min) at which the trade formula reaches zero: 3.5·10⁶ / d^1.5 [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    (bore,) = numbers(bore_mm=bore_mm)
    return np.asarray(3.5e6 / bore**1.5)


def trade_interval(speed_rpm: npt.ArrayLike, bore_mm: npt.ArrayLike, factor: npt.ArrayLike) -> Result:
    """Relubrication interval in running hours by the trade formula.

    Parameters
    ----------
    speed_rpm
        Shaft speed, r/min.
    bore_mm
        Bearing bore, mm.
    factor
        K, the product of the six factors of :mod:`condlube.lubrication.factors`. At the base condition (cool, clean,
        dry, quiet, horizontal) it is the design factor alone: 10, 5 or 1.

    Returns
    -------
    Result
        Hours, broadcast shape of the arguments. *Outside* at and above 3.5·10⁶ / d^1.5 r/min, where the formula
        reaches zero and turns negative. At slow speed the number is what the formula gives; plan with
        :func:`condlube.lubrication.catalogue.planning_cap`.

    Raises
    ------
    InvalidArgument
        An argument is not a positive finite number in its admissible range.

    References
    ----------
    .. [1] M.J. Neale (ed.), The Tribology Handbook, 2nd ed., section A20, p. A20.5.
    .. [2] L. Leugner, The Practical Handbook of Machinery Lubrication (six-factor form; table from memory).
    """
    speed, bore, k = numbers(speed_rpm=speed_rpm, bore_mm=bore_mm, factor=factor)
    value = k * (14e6 / (speed * np.sqrt(bore)) - 4.0 * bore)
    return result(value, "h", (value <= 0.0, Outside.SPEED_BEYOND_FORMULA))
