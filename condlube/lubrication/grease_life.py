"""Grease life of sealed and shielded ball bearings: two log-linear equations and an Arrhenius form.

References
----------
.. [1] Bearing maker's catalogue, Rolling bearings E1102, "Grease life of sealed ball bearings" (structure and clamps
   confirmed; coefficients from memory).
.. [2] E.R. Booser, Grease life forecast for ball bearings, Lubrication Engineering / ASLE Transactions, 1974; also M.M.
   Khonsari and E.R. Booser, Applied Tribology (coefficients from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import classes, numbers
from condlube.lubrication.result import Outside, Result, result


class LifeEquation(NamedTuple):
    """log10 t = a − b·x − (c − e·x)·T with the temperatures of use (°C)."""

    a: float
    b: float
    c: float
    e: float
    coldest_degc: float
    hottest_degc: float


EQUATIONS = {
    "general": LifeEquation(6.54, 2.6, 0.025, 0.012, -10.0, 110.0),
    "wide_range": LifeEquation(6.12, 1.4, 0.018, 0.006, -40.0, 130.0),
}
"""``general``: mineral oil and lithium soap; ``wide_range``: synthetic oil [1]_."""

LOWEST_SPEED_SHARE = 0.25
LOWEST_DEGC = 70.0
HIGHEST_LOAD_SHARE = 0.1


def sealed_grease_life(
    speed_share: npt.ArrayLike,
    temperature_degc: npt.ArrayLike,
    grease: npt.ArrayLike = "general",
    load_share_p_c: npt.ArrayLike = 0.1,
) -> Result:
    """Mean grease life (h) of a sealed or shielded ball bearing [1]_.

    Parameters
    ----------
    speed_share
        x = n / n_max, speed over the limiting speed for grease; 0.25 where it is lower (rule of the source).
    temperature_degc
        Bearing temperature; 70 °C where it is lower (rule of the source). *Outside* below and above the grease's use.
    grease
        ``general`` (−10 to 110 °C) or ``wide_range`` (−40 to 130 °C).
    load_share_p_c
        P/C, at most 0.1.

    Returns
    -------
    Result
        Mean life in running hours; taken as the life that half of the bearings reach.

    Raises
    ------
    InvalidArgument
        A number outside its admissible range or an unknown name; the error names the argument, the value and what
        is admissible.
    """
    x, temperature, share = numbers(
        speed_share=speed_share, temperature_degc=temperature_degc, load_share_p_c=load_share_p_c
    )
    row = classes("grease", grease, EQUATIONS)
    x, temperature, share, row = np.broadcast_arrays(x, temperature, share, row)
    a, b, c, e, coldest, hottest = np.moveaxis(np.array(list(EQUATIONS.values()))[row], -1, 0)
    x_used, t_used = np.maximum(x, LOWEST_SPEED_SHARE), np.maximum(temperature, LOWEST_DEGC)
    return result(
        10.0 ** (a - b * x_used - (c - e * x_used) * t_used),
        "h",
        (x > 1.0, Outside.ABOVE_LIMITING_SPEED),
        (temperature > hottest, Outside.TOO_HOT),
        (temperature < coldest, Outside.TOO_COLD),
        (share > HIGHEST_LOAD_SHARE, Outside.LOAD_BEYOND_TENTH),
    )


ARRHENIUS_DEGC = (40.0, 150.0)


def median_grease_life(temperature_degc: npt.ArrayLike, half_life_subtractions: npt.ArrayLike = 0.0) -> Result:
    """Median grease life L50 (h) of a ball bearing by temperature: log10 L50 = −2.60 + 2450/(273 + T) − 0.301·S [2]_.

    Parameters
    ----------
    temperature_degc
        Bearing temperature, 40 to 150 °C; *outside* elsewhere (limits of use are a judgement, the source gives none).
    half_life_subtractions
        S = SG + SN + SW, see :func:`half_life_subtractions`. 0 for a premium grease, slow and lightly loaded.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    temperature, s = numbers(temperature_degc=temperature_degc, half_lives=half_life_subtractions)
    return result(
        10.0 ** (-2.60 + 2450.0 / (273.0 + temperature) - 0.301 * s),
        "h",
        (temperature > ARRHENIUS_DEGC[1], Outside.TOO_HOT),
        (temperature < ARRHENIUS_DEGC[0], Outside.TOO_COLD),
    )


def half_life_subtractions(
    speed_rpm: npt.ArrayLike,
    bore_mm: npt.ArrayLike,
    load_n: npt.ArrayLike,
    dynamic_rating_n: npt.ArrayLike,
    speed_factor_limit: npt.ArrayLike,
    grease_half_lives: npt.ArrayLike = 0.0,
) -> npt.NDArray[np.float64]:
    """S = SG + SN + SW, halvings of the median life [2]_.

    SN = 0.86·d·n/(d·n)_L for speed, with the grease's limit of d·n; SW = 0.61·d·n·W/C² for load (W and C in N).
    ``grease_half_lives`` is SG: 0 for a premium grease, more for others.

    Parameters
    ----------
    speed_rpm
        Speed, r/min.
    bore_mm
        Bore d, mm.
    load_n
        Equivalent load, N.
    dynamic_rating_n
        Dynamic load rating C, N.
    speed_factor_limit
        The grease's limit of d·n, mm/min.
    grease_half_lives
        SG, halvings for a grease below premium.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    speed, bore, load, rating, limit, grease = numbers(
        speed_rpm=speed_rpm,
        bore_mm=bore_mm,
        load_n=load_n,
        dynamic_rating_n=dynamic_rating_n,
        speed_factor=speed_factor_limit,
        half_lives=grease_half_lives,
    )
    dn = speed * bore
    return np.asarray(grease + 0.86 * dn / limit + 0.61 * dn * load / rating**2)
