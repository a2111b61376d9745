"""Reduced relubrication interval by the reduction factors f1 to f6, each a published range.

References
----------
.. [1] Rolling Bearing Lubrication (bearing maker's publication WL 81 115), chapter 4.1; the same table in the worksheet
   GfT 3 of the German tribology society. Factors are stated from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import classes, number
from condlube.lubrication.classes import CONTAMINATIONS, MOISTURES, ORIENTATIONS, SEVERITIES
from condlube.lubrication.factors import VIBRATION_BANDS
from condlube.lubrication.result import BoolArray, CodeArray, FloatArray, Outside, Result, result

Rows = tuple[tuple[float, float], ...]

NONE = (1.0, 1.0)
DUST_MOISTURE = (NONE, (0.9, 0.7), (0.7, 0.4), (0.4, 0.1))
SHOCK_VIBRATION = (NONE, (0.9, 0.7), (0.7, 0.4), (0.4, 0.1))
TEMPERATURE_EDGES = (70.0, 75.0, 85.0)
TEMPERATURE = (NONE, (0.9, 0.6), (0.6, 0.3), (0.3, 0.1))
TEMPERATURE_LIMIT = 120.0
LOAD_EDGES = (0.1, 0.15, 0.25)
LOAD = (NONE, (1.0, 0.7), (0.7, 0.4), (0.4, 0.1))
LOAD_LIMIT = 0.35
AIR_FLOW = (NONE, (0.7, 0.5), (0.5, 0.1))
AIR_FLOWS = ("none", "slight", "strong")
VERTICAL = (0.7, 0.5)


@dataclass(frozen=True, slots=True)
class FactorRange:
    """A published range of a factor, element by element: ``low`` is the severe end, ``high`` the mild one.

    ``reason`` is the :class:`~condlube.lubrication.result.Outside` code where the table has no range; both ends are NaN
    there.
    """

    low: FloatArray
    high: FloatArray
    reason: CodeArray

    def times(self, other: FactorRange) -> FactorRange:
        """The product of two ranges, end by end; outside where either is."""
        reason = np.where(self.reason > 0, self.reason, other.reason)
        return FactorRange(self.low * other.low, self.high * other.high, np.asarray(reason))


def _range(rows: Rows, position: npt.NDArray[np.intp], *cases: tuple[BoolArray, Outside]) -> FactorRange:
    high, low = np.moveaxis(np.array(rows)[position], -1, 0)
    mild = result(high, "", *cases)
    return FactorRange(result(low, "", *cases).value, mild.value, mild.reason)


def dust_and_moisture(severity: npt.ArrayLike) -> FactorRange:
    """f1: dust and moisture at the functional surfaces, by severity (none, moderate, strong, very_strong) [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return _range(DUST_MOISTURE, classes("severity", severity, SEVERITIES))


def shock_and_vibration(severity: npt.ArrayLike) -> FactorRange:
    """f2: shock load, vibration, oscillation, by severity [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return _range(SHOCK_VIBRATION, classes("severity", severity, SEVERITIES))


def high_temperature(ring_temperature_degc: npt.ArrayLike) -> FactorRange:
    """f3: 1 to 70 °C, then ranges to 75, 85 and 120 °C; *outside* above [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    temperature = number("ring_temperature_degc", ring_temperature_degc)
    position = np.searchsorted(TEMPERATURE_EDGES, temperature, side="left")
    return _range(TEMPERATURE, position, (temperature > TEMPERATURE_LIMIT, Outside.TOO_HOT))


def load(load_share_p_c: npt.ArrayLike) -> FactorRange:
    """f4: 1 to P/C = 0.1, then ranges to 0.15, 0.25 and 0.35; *outside* above [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    share = number("load_share_p_c", load_share_p_c)
    position = np.searchsorted(LOAD_EDGES, share, side="left")
    return _range(LOAD, position, (share > LOAD_LIMIT, Outside.LOAD_TOO_HIGH))


def air_flow(strength: npt.ArrayLike) -> FactorRange:
    """f5: air current through the bearing: none, slight or strong [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return _range(AIR_FLOW, classes("air_flow", strength, AIR_FLOWS))


def vertical_shaft(orientation: npt.ArrayLike) -> FactorRange:
    """f6: centrifugal effect or vertical shaft, depending on the seal; an inclined shaft counts as vertical [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return _range((NONE, VERTICAL, VERTICAL), classes("orientation", orientation, ORIENTATIONS))


def dust_severity(contamination: npt.ArrayLike, moisture: npt.ArrayLike) -> npt.NDArray[np.str_]:
    """Severity of f1 from the register's classes: the worse of the two, class for class (engineering judgement) [1]_.

    Parameters
    ----------
    contamination
        Class name.
    moisture
        Class name.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    from_dust = classes("contamination", contamination, CONTAMINATIONS)
    from_water = classes("moisture", moisture, MOISTURES)
    return np.asarray(np.array(SEVERITIES)[np.maximum(from_dust, from_water)])


def vibration_severity(velocity_mm_s_rms: npt.ArrayLike) -> npt.NDArray[np.str_]:
    """Severity of f2 from velocity, on the bands of the trade formula (engineering judgement) [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    velocity = number("velocity_mm_s_rms", velocity_mm_s_rms)
    return np.asarray(np.array(SEVERITIES)[np.searchsorted(VIBRATION_BANDS[0], velocity, side="right")])


def reduced_interval(base: Result, factors: FactorRange) -> tuple[Result, Result]:
    """Shortest and longest interval (h): the base interval (70 °C, P/C to 0.1) times the product of the factors [1]_.

    Outside where the base is, or where a factor has no published range.

    Parameters
    ----------
    base
        Interval at 70 °C and light load.
    factors
        Product of the factor ranges.
    """
    reason = np.where(base.reason > 0, base.reason, factors.reason)
    shortest, longest = (np.asarray(base.value * end) for end in (factors.low, factors.high))
    return Result(shortest, reason, base.unit), Result(longest, reason, base.unit)
