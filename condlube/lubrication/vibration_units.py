"""Sine conversions between velocity and displacement, peak and rms, and decibel arithmetic.

References
----------
.. [1] ISO 2041:2018, Mechanical vibration, shock and condition monitoring, Vocabulary (from memory).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.lubrication.checks import number, numbers
from condlube.lubrication.result import FloatArray

SQRT2 = 2.0**0.5


def rms_from_peak(peak: npt.ArrayLike) -> FloatArray:
    """Rms of a sine of this peak: peak/√2. A broadband signal has another crest factor: there it is an estimate [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(number("peak", peak) / SQRT2)


def peak_from_rms(rms: npt.ArrayLike) -> FloatArray:
    """Peak of a sine of this rms: rms·√2 [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(number("rms", rms) * SQRT2)


def displacement_um_peak_to_peak(velocity_mm_s_rms: npt.ArrayLike, frequency_hz: npt.ArrayLike) -> FloatArray:
    """Displacement (µm peak to peak) of a sine of this velocity (mm/s rms) and frequency (Hz): 2·√2·v/(2πf)·1000 [1]_.

    Parameters
    ----------
    velocity_mm_s_rms
        Velocity, mm/s rms.
    frequency_hz
        Frequency, Hz.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    velocity, frequency = numbers(velocity_mm_s_rms=velocity_mm_s_rms, frequency_hz=frequency_hz)
    return np.asarray(1e3 * SQRT2 * velocity / (np.pi * frequency))


def velocity_mm_s_rms(displacement_um_peak_to_peak: npt.ArrayLike, frequency_hz: npt.ArrayLike) -> FloatArray:
    """Velocity (mm/s rms) of a sine of this displacement (µm peak to peak) and frequency (Hz) [1]_.

    Parameters
    ----------
    displacement_um_peak_to_peak
        Displacement, µm peak to peak.
    frequency_hz
        Frequency, Hz.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    displacement, frequency = numbers(
        displacement_um_peak_to_peak=displacement_um_peak_to_peak, frequency_hz=frequency_hz
    )
    return np.asarray(displacement * np.pi * frequency / (1e3 * SQRT2))


def amplitude_ratio(level_db: npt.ArrayLike) -> FloatArray:
    """Amplitude ratio of a level difference: 10^(dB/20) [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(10.0 ** (number("level_db", level_db) / 20.0))


def decibels(ratio: npt.ArrayLike) -> FloatArray:
    """Level difference (dB) of an amplitude ratio: 20·log10(ratio) [1]_.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(20.0 * np.log10(number("ratio", ratio)))


def mean_level_db(levels_db: npt.ArrayLike, axis: int = -1) -> FloatArray:
    """Energy mean of levels along an axis: 10·log10(mean of 10^(dB/10)) [1]_.

    Parameters
    ----------
    levels_db
        Levels, dB.
    axis
        Axis to average over.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    return np.asarray(10.0 * np.log10(np.mean(10.0 ** (number("level_db", levels_db) / 10.0), axis=axis)))
