"""What a calculation returns: numbers where its method holds, and a reason where it does not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
CodeArray = npt.NDArray[np.uint8]


class Outside(IntEnum):
    """Why a method gives no number. Each code carries the reason and what to do instead."""

    why: str
    advice: str

    def __new__(cls, code: int, why: str = "", advice: str = "") -> Outside:
        member = int.__new__(cls, code)
        member._value_ = code
        member.why = why
        member.advice = advice
        return member

    INSIDE = 0, "inside the range of the method", ""
    SPEED_BEYOND_FORMULA = (
        1,
        "speed at or above 3.5e6/d^1.5 r/min, where the trade formula reaches zero",
        "ask the bearing maker; consider oil lubrication",
    )
    SPEED_FACTOR_TOO_HIGH = (
        2,
        "speed factor above the limit for grease of this bearing type and load",
        "ask the bearing maker; consider oil lubrication",
    )
    LOAD_TOO_HIGH = (
        3,
        "load ratio C/P below 4, outside the diagram",
        "consider continuous relubrication or oil; at very slow speed ask the bearing maker",
    )
    TOO_HOT = (4, "temperature above the range of the method", "use a grease for this temperature; consider oil")
    TOO_COLD = (5, "temperature below the range of the method", "ask the grease supplier for data at this temperature")
    NOT_REGREASABLE = (
        6,
        "shielded or sealed bearing: a relubrication interval does not apply",
        "use the grease life of the bearing and plan its replacement",
    )
    THIN_OIL = (7, "viscosity below 2 mm²/s, outside this form of ASTM D341", "use the full form of the standard")
    KAPPA_TOO_LOW = (
        8,
        "viscosity ratio below 0.1, outside ISO 281",
        "choose a more viscous base oil; check the static load and the need for EP additives",
    )
    POWER_OUT_OF_SCOPE = (
        9,
        "rated power outside the scope of the standard",
        "use the limits of the machine maker or another part of the standard",
    )
    SPEED_OUT_OF_SCOPE = (
        10,
        "speed outside the scope of the standard",
        "use the limits of the machine maker or another part of the standard",
    )
    LOAD_BEYOND_TENTH = (
        11,
        "load above the range of the grease life equation",
        "ask the bearing maker for the grease life at this load",
    )
    NOT_IN_TABLE = (12, "no value in the published table for this case", "ask the bearing maker")
    BETWEEN_GRADES = (13, "between two grades of the standard", "state the measured value instead of a grade")
    FULL_FILL = (
        14,
        "dose above the free space of the bearing",
        "check dimensions and mass; give the dose in parts while the outlet is open",
    )
    ABOVE_LIMITING_SPEED = (
        19,
        "speed above the limiting speed of the bearing with grease",
        "check the speed; ask the bearing maker",
    )
    LOAD_BEYOND_HALF = (20, "load above half the dynamic load rating, outside ISO 281", "check the static safety")
    NO_FREE_SPACE = (18, "the mass does not fit into the dimensions", "check dimensions and mass")
    NO_CALIBRATION = (15, "grease gun without calibration", "weigh ten strokes and enter grams per stroke")
    VISCOSITY_INDEX_RANGE = (16, "viscosity at 100 °C below 2 mm²/s, outside ASTM D2270", "ask the supplier")
    BEYOND_DIAGRAM = (
        17,
        "n·dm·bf above 800,000, where the relubrication diagram ends",
        "ask the bearing maker; consider oil lubrication",
    )


@dataclass(frozen=True, slots=True)
class Result:
    """Values of one calculation, element by element.

    Attributes
    ----------
    value
        The result; NaN exactly where ``reason`` is not zero.
    reason
        An :class:`Outside` code per element; 0 where the method holds.
    unit
        Unit of ``value``.
    """

    value: FloatArray
    reason: CodeArray
    unit: str

    @property
    def outside(self) -> BoolArray:
        """True where the method does not hold."""
        return np.asarray(self.reason != Outside.INSIDE)

    def scaled(self, factor: npt.ArrayLike) -> Result:
        """The result times a factor (broadcast); what is outside stays outside."""
        value = np.asarray(self.value * np.asarray(factor, dtype=np.float64))
        return replace(self, value=value, reason=np.broadcast_to(self.reason, value.shape))

    def restricted(self, *cases: tuple[BoolArray, Outside]) -> Result:
        """The result with further cases outside; at each element the first true case outranks earlier reasons."""
        shape = np.broadcast_shapes(self.value.shape, *(np.shape(mask) for mask, _ in cases))
        further = result(np.broadcast_to(self.value, shape), self.unit, *cases)
        reason = np.where(further.reason > 0, further.reason, self.reason)
        return replace(self, value=further.value, reason=reason)

    def explain(self) -> str:
        """Reason and advice of the first element outside, or an empty string."""
        outside = self.reason[self.outside]
        if outside.size == 0:
            return ""
        code = Outside(int(outside.flat[0]))
        return f"outside range: {code.why}; {code.advice}"


def result(value: FloatArray, unit: str, *cases: tuple[BoolArray, Outside]) -> Result:
    """Build a :class:`Result`: the first case that is true at an element gives its reason."""
    value = np.asarray(value, dtype=np.float64)
    reason = np.zeros(value.shape, dtype=np.uint8)
    for mask, code in reversed(cases):
        reason = np.where(mask, np.uint8(code), reason)
    return Result(np.asarray(np.where(reason == 0, value, np.nan)), np.asarray(reason), unit)
