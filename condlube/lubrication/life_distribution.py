"""Grease life as a Weibull distribution fixed by two published points: L10 = 2.7 L01.

The slope that joins 1 % at L01 to 10 % at 2.7 L01 is 2.366; about 2.3 is stated for grease life elsewhere.

References
----------
.. [1] Bearing maker's catalogue, Rolling bearings, section Lubrication (interval = L1 life; L10 = 2.7 L1).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import numbers
from condlube.lubrication.result import FloatArray

L10_PER_L01 = 2.7
SLOPE = math.log(math.log(0.90) / math.log(0.99)) / math.log(L10_PER_L01)


def failed_share(elapsed_h: npt.ArrayLike, life_h: npt.ArrayLike, life_percent: npt.ArrayLike = 1.0) -> FloatArray:
    """Share of bearings whose grease life has ended after ``elapsed_h`` [1]_.

    F(t) = 1 − (1 − p)^((t/L)^2.366), where p % have ended at the life L.

    Parameters
    ----------
    elapsed_h
        Running hours since greasing.
    life_h
        The life L that belongs to ``life_percent``.
    life_percent
        1 for a relubrication interval (L01), 10 for L10, 50 for a median or mean life.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    elapsed, life, percent = numbers(elapsed_h=elapsed_h, life_h=life_h, life_percent=life_percent)
    return np.asarray(-np.expm1(np.log1p(-percent / 100.0) * (elapsed / life) ** SLOPE))


def life_at(percent: npt.ArrayLike, life_h: npt.ArrayLike, life_percent: npt.ArrayLike = 1.0) -> FloatArray:
    """The life (h) at which ``percent`` % have ended, from the life of ``life_percent`` % [1]_.

    Parameters
    ----------
    percent
        Wanted share, %.
    life_h
        The life that belongs to ``life_percent``, h.
    life_percent
        1 for L01, 10 for L10, 50 for a median life.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    wanted, life, known = numbers(percent=percent, life_h=life_h, life_percent=life_percent)
    return np.asarray(life * (np.log1p(-wanted / 100.0) / np.log1p(-known / 100.0)) ** (1.0 / SLOPE))


def failing_share(
    elapsed_h: npt.ArrayLike, horizon_h: npt.ArrayLike, life_h: npt.ArrayLike, life_percent: npt.ArrayLike = 1.0
) -> FloatArray:
    """Of the bearings still well after ``elapsed_h``, the share whose grease life ends within ``horizon_h`` more [1]_.

    Parameters
    ----------
    elapsed_h
        Running hours so far.
    horizon_h
        Running hours ahead.
    life_h
        The life that belongs to ``life_percent``, h.
    life_percent
        1 for L01, 10 for L10, 50 for a median life.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    elapsed, horizon, life, percent = numbers(
        elapsed_h=elapsed_h, horizon_h=horizon_h, life_h=life_h, life_percent=life_percent
    )
    exponent = ((elapsed + horizon) / life) ** SLOPE - (elapsed / life) ** SLOPE
    return np.asarray(-np.expm1(np.log1p(-percent / 100.0) * exponent))
