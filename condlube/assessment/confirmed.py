"""What counts of a deviation: confirmed by a second reading, held against its last nights, less its noise, and only
what is significant."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.sources import FloatArray
from condlube.assessment.wording import first_word
from condlube.lubrication.result import BoolArray
from condlube.lubrication.severity import significant_change
from condlube.policy.model import Policy
from condlube.schema.words import LESS_NOISE, MEDIAN_OF_NIGHTS, NOT_SIGNIFICANT, SECOND_READING

RATIOS = ("kurtosis", "crest_factor", "velocity")
"""Quantities whose deviation is a ratio to the expected level; the others' is a difference."""


def confirmed(
    deviations: pd.DataFrame, upper_b: FloatArray, policy: Policy
) -> tuple[FloatArray, npt.NDArray[np.object_]]:
    """Deviation that counts of each row, and the reason code where it is not tonight's.

    A change that stands on too few sound readings counts as none: the level then is where it was expected. It counts
    at once when it is large, grows fast, came on gradually or makes a control chart signal. With no other sound night
    lately there is nothing to fall back on: the row says nothing (NaN). A level without any sign of a rise that stands
    within the noise about the median of its last nights counts as that median, so that noise turns no call; so does a
    step that has stood there for as many nights as the median takes, and a single night that leaps over a raised one.
    What is more uncertain than the usual of its quantity counts less by the excess, so that noise is no evidence. A
    velocity that changed by less than is significant on its machine, ``upper_b`` being the upper limit of its zone B
    (mm/s rms, a row each), and by less than ``large``, counts as expected.
    """
    p = policy.stability
    value = number(deviations, "deviation")
    which, names = pd.factorize(deviations["quantity"])
    is_ratio = np.array([name in RATIOS for name in names], dtype=np.bool_)[which]
    lately = number(deviations, "lately")
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.abs(np.where(is_ratio, np.log(value), value))
        apart = np.abs(np.where(is_ratio, np.log(value / lately), value - lately))
    large = np.array([policy.detection.large.of(name) for name in names], dtype=np.float64)[which]
    usual = np.array([policy.detection.steady_spread.of(name) for name in names], dtype=np.float64)[which]
    nights_over, growing = number(deviations, "nights_over"), number(deviations, "growth") > policy.weights.growth_from
    alone = nights_over < p.sound_readings
    change = size > p.noise_spreads * number(deviations, "reference_spread")
    seen = (size >= large) | growing
    seen |= (deviations["onset"] == "gradual").to_numpy()
    charted = deviations["chart"].eq(True).fillna(False).to_numpy(dtype=np.bool_)
    seen |= charted
    near = apart <= p.steady_spreads * number(deviations, "reference_spread")
    abrupt = (deviations["onset"] == "abrupt").to_numpy()
    steady = near & ~seen & ~abrupt
    steady |= near & abrupt & ~growing & (nights_over >= policy.detection.lately_nights)
    steady |= ~near & (value > lately) & alone & charted & ~growing & (size < large)
    waits = alone & change & ~seen & ~steady
    expected = np.where(number(deviations, "sound_nights") > 1, np.where(is_ratio, 1.0, 0.0), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        uncertain = number(deviations, "deviation_sd") / np.where(is_ratio, value, 1.0)
    excess = p.excess_taken * np.nan_to_num(np.maximum(uncertain - usual, 0.0))
    code = first_word({SECOND_READING: waits, MEDIAN_OF_NIGHTS: steady, LESS_NOISE: excess > 0})
    counted = np.select([waits, steady], [expected, lately], value)
    counted = _nearer(counted, excess, is_ratio)
    minor = _insignificant(deviations, counted, large, upper_b) & change
    return np.where(minor, 1.0, counted), np.where(minor, NOT_SIGNIFICANT, code)


def _insignificant(deviations: pd.DataFrame, counted: FloatArray, large: FloatArray, upper_b: FloatArray) -> BoolArray:
    """Which velocities changed by less than is significant, and less than ``large``."""
    known = (deviations["quantity"] == "velocity").to_numpy() & (counted > 0)
    by = np.where(known, (counted - 1.0) * number(deviations, "expected"), 0.0)
    small = np.abs(np.log(np.where(known, counted, 1.0))) < large
    return np.asarray(known & small & ~significant_change(np.nan_to_num(by), upper_b))


def _nearer(value: FloatArray, by: FloatArray, is_ratio: BoolArray) -> FloatArray:
    """Deviations nearer to the expected level ``by`` so much on the scale of comparison, never beyond it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        far = np.where(is_ratio, np.log(value), value)
    left = np.sign(far) * np.maximum(np.abs(far) - by, 0.0)
    return np.where(by > 0, np.where(is_ratio, np.exp(left), left), value)


def number(deviations: pd.DataFrame, name: str) -> FloatArray:
    """A column as numbers, NaN where there is none."""
    return np.asarray(deviations[name].to_numpy(dtype=np.float64, na_value=np.nan))
