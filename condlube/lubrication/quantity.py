"""Grease per relubrication, the free space of a bearing, the first fill, and strokes of a grease gun.

References
----------
.. [1] M.J. Neale (ed.), The Tribology Handbook, 2nd ed., p. A20.5 (0.005·D·B).
.. [2] Bearing maker's catalogue, Rolling bearings, section Lubrication, grease quantities (0.005 and 0.002·D·B, H for
   thrust bearings, free space, density).
.. [3] Common practice, no single source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import classes, numbers, together
from condlube.lubrication.result import FloatArray, Outside, Result, result

SIDE_G_PER_MM2 = 0.005
GROOVE_G_PER_MM2 = 0.002
OUNCE_G = 28.349523125
INCH_MM = 25.4
STEEL_G_CM3 = 7.8
GREASE_G_CM3 = 0.9
FLUORINATED_GREASE_G_CM3 = 2.0

ENTRIES = ("side", "outer_ring_groove")

FILL_SHARE = {"very_slow": (0.9, 1.0), "slow": (0.5, 0.8), "usual": (0.3, 0.5), "fast": (0.2, 0.3)}
"""Share of the bearing's free space to fill at mounting, by speed: common practice, 0.2 to full in handbooks."""

COMMON_FILL_SHARE = 0.3


def relubrication_quantity(
    outside_diameter_mm: npt.ArrayLike, width_mm: npt.ArrayLike, entry: npt.ArrayLike = "side"
) -> FloatArray:
    """Grease per relubrication, g: 0.005·D·B from the side, 0.002·D·B through the groove or holes of a ring.

    Parameters
    ----------
    outside_diameter_mm
        D, mm.
    width_mm
        B, mm; the total width T of a tapered, the height H of a thrust bearing.
    entry
        ``side`` or ``outer_ring_groove`` (also holes in either ring), per element.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.

    References
    ----------
    .. [1] M.J. Neale (ed.), The Tribology Handbook, 2nd ed., p. A20.5 (0.005·D·B).
    .. [2] Bearing maker's catalogue, Rolling bearings, section Lubrication (0.005 and 0.002·D·B; thrust H).
    """
    outside, width = numbers(outside_diameter_mm=outside_diameter_mm, width_mm=width_mm)
    coefficient = np.array([SIDE_G_PER_MM2, GROOVE_G_PER_MM2])[classes("entry", entry, ENTRIES)]
    return np.asarray(coefficient * outside * width)


def ounces(grease_g: npt.ArrayLike) -> FloatArray:
    """Grams as avoirdupois ounces. The trade form 0.114·D·B (inches) rounds 0.005·D·B, exactly 0.11379 [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    (grams,) = numbers(grease_g=grease_g)
    return np.asarray(grams / OUNCE_G)


def free_volume(
    bore_mm: npt.ArrayLike, outside_diameter_mm: npt.ArrayLike, width_mm: npt.ArrayLike, mass_kg: npt.ArrayLike
) -> Result:
    """Free space of a bearing, cm³: the ring-shaped envelope less the steel in it.

    V = (π/4)·B·(D² − d²)·10⁻³ − M/0.0078, with M in kg and steel of 7.8 g/cm³. A plastic cage makes it a slight
    overestimate. *Outside* where the mass does not fit into the envelope.

    Parameters
    ----------
    bore_mm
        Bore d, mm.
    outside_diameter_mm
        Outside diameter D, mm.
    width_mm
        Width B (T, H), mm.
    mass_kg
        Mass of the bearing, kg.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.

    References
    ----------
    .. [1] Bearing maker's catalogue, Rolling bearings, section Lubrication, grease quantities.
    """
    bore, outside, width, mass = numbers(
        bore_mm=bore_mm, outside_diameter_mm=outside_diameter_mm, width_mm=width_mm, mass_kg=mass_kg
    )
    volume = np.pi / 4e3 * width * (outside**2 - bore**2) - 1e3 * mass / STEEL_G_CM3
    return result(volume, "cm³", (volume <= 0.0, Outside.NO_FREE_SPACE))


def first_fill(
    free_volume_cm3: Result, share: npt.ArrayLike = COMMON_FILL_SHARE, density_g_cm3: npt.ArrayLike = GREASE_G_CM3
) -> Result:
    """Grease at mounting, g: a share of the free space times the density (0.9, fluorinated about 2 g/cm³) [2]_.

    Parameters
    ----------
    free_volume_cm3
        Free space, as :func:`free_volume` gives it.
    share
        Share of the free space to fill, 0 to 1.
    density_g_cm3
        Density of the grease, g/cm³.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    fraction, density = numbers(share=share, density_g_cm3=density_g_cm3)
    filled = free_volume_cm3.scaled(fraction * density)
    return Result(filled.value, filled.reason, "g")


def strokes(grease_g: npt.ArrayLike, gun_g_per_stroke: npt.ArrayLike) -> Result:
    """Whole strokes of a calibrated gun, rounded half up, at least one [3]_.

    The rounding rule: the nearest whole number, a half upwards, so that the dose given differs from the dose asked by
    at most half a stroke; never none. A gun of unknown calibration is given as NaN and is *outside*: no strokes are
    prescribed without calibration (1 to 3 g per stroke is usual, 0.8 to 2.8 g has been measured).

    Parameters
    ----------
    grease_g
        Dose, g.
    gun_g_per_stroke
        Calibrated grams per stroke; NaN where the gun is not calibrated.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    gun = np.asarray(gun_g_per_stroke)
    unknown = np.isnan(gun) if gun.dtype.kind == "f" else np.zeros(gun.shape, dtype=np.bool_)
    dose, per_stroke = numbers(grease_g=grease_g, gun_g_per_stroke=np.where(unknown, 1.0, gun))
    count = np.maximum(np.floor(dose / per_stroke + 0.5), 1.0)
    _, _, unknown_b = together(a=dose, b=per_stroke, c=unknown.astype(np.float64))
    return result(count, "strokes", (unknown_b > 0, Outside.NO_CALIBRATION))


def within_free_space(
    grease_g: npt.ArrayLike, free_volume_cm3: Result, density_g_cm3: npt.ArrayLike = GREASE_G_CM3
) -> Result:
    """The dose, or *outside* where it exceeds what the free space holds; an unknown free space stays outside too [2]_.

    Parameters
    ----------
    grease_g
        Dose, g.
    free_volume_cm3
        Free space, as :func:`free_volume` gives it.
    density_g_cm3
        Density of the grease, g/cm³.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    dose, density = numbers(grease_g=grease_g, density_g_cm3=density_g_cm3)
    capacity = free_volume_cm3.value * density
    return result(dose + 0.0 * capacity, "g").restricted(
        (dose > capacity, Outside.FULL_FILL), (free_volume_cm3.outside, Outside.NO_FREE_SPACE)
    )
