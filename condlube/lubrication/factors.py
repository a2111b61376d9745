"""The six factors of the trade formula: K = Ft · Fc · Fm · Fv · Fp · Fd.

The tables are common practice, reproduced widely in the lubrication trade literature; their cells are stated from
memory. The structure and the design factor 10 / 5 / 1 are confirmed [1]_. A value on the edge between two bands
belongs to the more severe one.

References
----------
.. [1] M.J. Neale (ed.), The Tribology Handbook, 2nd ed., section A20, Table 20.4.
.. [2] L. Leugner, The Practical Handbook of Machinery Lubrication (six-factor form).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import choose, number
from condlube.lubrication.result import FloatArray

TEMPERATURE_BANDS = ((65.0, 80.0, 93.0), (1.0, 0.5, 0.2, 0.1))
"""Housing temperature: band edges (°C) and factors."""

PEAK_BANDS_IN_S = (0.2, 0.4)
VIBRATION_BANDS = (tuple(edge * 25.4 / 2**0.5 for edge in PEAK_BANDS_IN_S), (1.0, 0.6, 0.3))
"""Vibration velocity: band edges (mm/s rms; printed as 0.2 and 0.4 in/s peak, sine assumed) and factors."""

CONTAMINATION = {"light_nonabrasive": 1.0, "heavy_nonabrasive": 0.7, "light_abrasive": 0.4, "heavy_abrasive": 0.2}
MOISTURE = {"dry": 1.0, "humid": 0.7, "condensation": 0.4, "water": 0.1}
POSITION = {"horizontal": 1.0, "inclined": 0.5, "vertical": 0.3}
DESIGN = {
    "deep_groove_ball": 10.0,
    "angular_contact_ball": 10.0,
    "self_aligning_ball": 10.0,
    "cylindrical_roller": 5.0,
    "needle_roller": 5.0,
    "tapered_roller": 1.0,
    "spherical_roller": 1.0,
    "toroidal_roller": 1.0,
    "thrust_ball": 1.0,
    "cylindrical_roller_thrust": 1.0,
    "spherical_roller_thrust": 1.0,
}


def _banded(values: FloatArray, bands: tuple[tuple[float, ...], tuple[float, ...]]) -> FloatArray:
    edges, factors = bands
    return np.asarray(np.array(factors)[np.searchsorted(np.array(edges), values, side="right")])


def temperature_factor(housing_temperature_degc: npt.ArrayLike) -> FloatArray:
    """Ft from the housing temperature: 1.0 below 65 °C, 0.5 to 80 °C, 0.2 to 93 °C, 0.1 above [2]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return _banded(number("housing_temperature_degc", housing_temperature_degc), TEMPERATURE_BANDS)


def vibration_factor(velocity_mm_s_rms: npt.ArrayLike) -> FloatArray:
    """Fv from the velocity: 1.0 below 0.2 in/s peak (3.59 mm/s rms), 0.6 to 0.4 in/s, 0.3 above [2]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return _banded(number("velocity_mm_s_rms", velocity_mm_s_rms), VIBRATION_BANDS)


def contamination_factor(contamination: npt.ArrayLike) -> FloatArray:
    """Fc by class of dust: light_nonabrasive, heavy_nonabrasive, light_abrasive or heavy_abrasive [2]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("contamination", contamination, CONTAMINATION)


def moisture_factor(moisture: npt.ArrayLike) -> FloatArray:
    """Fm by class: dry (mostly below 80 % humidity), humid (80 to 90 %), condensation, water on the housing [2]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("moisture", moisture, MOISTURE)


def position_factor(orientation: npt.ArrayLike) -> FloatArray:
    """Fp by direction of the bore centreline: horizontal, inclined (45°) or vertical [2]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("orientation", orientation, POSITION)


def design_factor(bearing_type: npt.ArrayLike) -> FloatArray:
    """Fd by bearing type: 10 ball, 5 cylindrical and needle roller, 1 tapered, spherical, thrust [1]_.

    Raises
    ------
    InvalidArgument
        An unknown name; the error lists the known ones.
    """
    return choose("bearing_type", bearing_type, DESIGN)
