"""Grades of standards: ISO 3448 viscosity classes and NLGI consistency numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import number
from condlube.lubrication.result import BoolArray, CodeArray, FloatArray, Outside, result

VISCOSITY_GRADES = np.array(
    [2.2, 3.2, 4.6, 6.8, 10, 15, 22, 32, 46, 68, 100, 150, 220, 320, 460, 680, 1000, 1500, 2200, 3200]
)
"""Midpoints at 40 °C (mm²/s); each class spans ±10 % [ISO 3448]."""

VISCOSITY_CLASSES = np.array([f"{midpoint:.0f}" for midpoint in VISCOSITY_GRADES])

NLGI_NUMBERS = np.array(["6", "5", "4", "3", "2", "1", "0", "00", "000"])
PENETRATIONS = np.array(
    [[85, 115], [130, 160], [175, 205], [220, 250], [265, 295], [310, 340], [355, 385], [400, 430], [445, 475]]
)
"""Worked penetration at 25 °C (0.1 mm), lowest and highest of each number [ISO 2137, NLGI]."""


@dataclass(frozen=True, slots=True)
class Grades:
    """The grade per element, an empty string where the value lies between two grades or beyond them."""

    grade: npt.NDArray[np.str_]
    reason: CodeArray

    @property
    def outside(self) -> BoolArray:
        """True where there is no grade."""
        return np.asarray(self.reason != Outside.INSIDE)


def _graded(values: FloatArray, lowest: FloatArray, highest: FloatArray, names: npt.NDArray[np.str_]) -> Grades:
    position = np.clip(np.searchsorted(lowest, values, side="right") - 1, 0, len(names) - 1)
    between = (values < lowest[position]) | (values > highest[position])
    checked = result(np.zeros(values.shape), "", (between, Outside.BETWEEN_GRADES))
    return Grades(np.asarray(np.where(between, "", names[position])), checked.reason)


def viscosity_class(viscosity_40_mm2_s: npt.ArrayLike) -> Grades:
    """ISO VG class of a viscosity at 40 °C: the class within ±10 % of whose midpoint it lies.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] ISO 3448:1992, Industrial liquid lubricants, ISO viscosity classification.
    """
    values = number("viscosity_40_mm2_s", viscosity_40_mm2_s)
    return _graded(values, 0.9 * VISCOSITY_GRADES, 1.1 * VISCOSITY_GRADES, VISCOSITY_CLASSES)


def nlgi_number(penetration_01mm: npt.ArrayLike) -> Grades:
    """NLGI number of a worked penetration (0.1 mm, 25 °C). The gaps between numbers are real: 300 has none.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] ISO 2137, Petroleum products, lubricating grease, cone penetration; NLGI classification (DIN 51818).
    """
    values = number("penetration_01mm", penetration_01mm)
    return _graded(values, PENETRATIONS[:, 0], PENETRATIONS[:, 1], NLGI_NUMBERS)
