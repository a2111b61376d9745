"""When the grease life of a sealed bearing ends: dates and probabilities, so that replacement can be planned.

References
----------
.. [1] Those of :mod:`.grease_life` and :mod:`.life_distribution`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from condlube.errors import InvalidArgument
from condlube.lubrication.checks import number, together
from condlube.lubrication.life_distribution import failed_share, failing_share, life_at
from condlube.lubrication.result import CodeArray, FloatArray, Result

DateArray = npt.NDArray[np.datetime64]


@dataclass(frozen=True, slots=True)
class EndOfLife:
    """Expected end of grease life, element by element; NaT and NaN where the life is *outside*.

    Attributes
    ----------
    early, expected
        Dates by which 10 % and 50 % of such bearings have reached the end of their grease life.
    failed
        Share that has reached it by ``as_of``.
    failing
        Of those still well at ``as_of``, the share that reaches it within the horizon.
    reason
        :class:`~condlube.lubrication.result.Outside` code of the life.
    """

    early: DateArray
    expected: DateArray
    failed: FloatArray
    failing: FloatArray
    reason: CodeArray


def end_of_grease_life(
    life: Result,
    elapsed_h: npt.ArrayLike,
    as_of: npt.ArrayLike,
    running_h_per_day: npt.ArrayLike = 24.0,
    horizon_days: npt.ArrayLike = 90.0,
    life_percent: float = 50.0,
) -> EndOfLife:
    """Dates and probabilities of the end of grease life [1]_.

    Parameters
    ----------
    life
        Grease life in running hours, as :func:`~condlube.lubrication.grease_life.sealed_grease_life` gives it.
    elapsed_h
        Running hours since the bearing was fitted.
    as_of
        The date of the question (``datetime64``).
    running_h_per_day
        Expected running hours a day from now on.
    horizon_days
        Horizon of ``failing``.
    life_percent
        Which life ``life`` is: 50 for a mean or median life, 10 for L10.

    Raises
    ------
    InvalidArgument
        A value that is not a finite number in its admissible range; the error names the value and the range.
    """
    dates = np.asarray(as_of)
    if dates.dtype.kind != "M" or np.isnat(dates).any():
        raise InvalidArgument("as_of", as_of, "a datetime64 date")
    hours = np.where(life.outside, 1.0, life.value)
    hours, elapsed, per_day, days = together(
        life=hours,
        elapsed_h=number("elapsed_h", elapsed_h),
        running_h_per_day=number("running_h_per_day", running_h_per_day),
        horizon_days=number("horizon_days", horizon_days),
    )
    outside = np.broadcast_to(life.outside, hours.shape)

    def date_at(percent: float) -> DateArray:
        ahead = (life_at(percent, hours, life_percent) - elapsed) / per_day
        day = dates.astype("datetime64[D]") + np.ceil(ahead).astype("timedelta64[D]")
        return np.asarray(np.where(outside, np.datetime64("NaT"), day))

    def known(share: FloatArray) -> FloatArray:
        return np.asarray(np.where(outside, np.nan, share))

    return EndOfLife(
        early=date_at(10.0),
        expected=date_at(50.0),
        failed=known(failed_share(elapsed, hours, life_percent)),
        failing=known(failing_share(elapsed, days * per_day, hours, life_percent)),
        reason=np.broadcast_to(life.reason, hours.shape),
    )
