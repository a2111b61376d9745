"""Marks: levels of the same point that a later stage holds tonight's against, and how often the point was faulty."""

from __future__ import annotations

import numpy as np

from condlube.detection.series import FAULTY, Cells
from condlube.detection.states import within
from condlube.manipulation.kernel import Floats, Ints, first_at_least, medians
from condlube.policy.detection import Detection

_FEWEST = 3  # nights that a median needs
_BEFORE_DAYS = 30  # a level before a greasing or at an inspection is at most so much older


def marks(
    lo: Ints, hi: Ints, day: Ints, residual: Floats, night: Ints, greased: Ints, looked: Ints, detection: Detection
) -> dict[str, Floats]:
    """Residuals of many series, rows ``lo[k]`` to ``hi[k]``; NaN where there was no level to remember.

    ``lately``: median of the last ``lately_nights`` nights, tonight's included. ``before_greasing``: median of the last
    ``response_before_nights`` nights before day ``greased[k]``. ``at_inspection``: the newest night up to day
    ``looked[k]``. A day of -1: there was none.
    """
    recent = np.maximum(hi - detection.lately_nights, first_at_least(day, lo, hi, night - 2 * detection.lately_nights))
    lately = np.where(hi - recent >= _FEWEST, medians(residual, recent, hi), np.nan)
    stop = np.where(greased < 0, lo, first_at_least(day, lo, hi, greased))
    begin = np.maximum(stop - detection.response_before_nights, first_at_least(day, lo, hi, greased - _BEFORE_DAYS))
    begin = np.minimum(begin, stop)
    before = np.where(stop - begin >= _FEWEST, medians(residual, begin, stop), np.nan)
    seen = np.where(looked < 0, lo, first_at_least(day, lo, hi, looked + 1))
    found = (seen > lo) & (looked - np.append(day, 0)[seen - 1] <= _BEFORE_DAYS)
    at_inspection = np.where(found, np.append(residual, np.nan)[seen - 1], np.nan)
    return {"lately": lately, "before_greasing": before, "at_inspection": at_inspection}


def faulty_share(cells: Cells, point: Ints, night: Ints, window_days: int) -> Floats:
    """Share of the days of each point that were faulty, of those with readings in the window up to each night."""
    days = cells.days
    of, day = days["point"].to_numpy(), days["day"].to_numpy()
    faulty = np.append(0, np.cumsum(days["kind"].to_numpy() == FAULTY))
    last = within(of, day, point, night)
    first = within(of, day, point, night - window_days)
    before_point = np.searchsorted(of, point)
    begin, end = np.where(first >= 0, first + 1, before_point), np.where(last >= 0, last + 1, before_point)
    return np.asarray((faulty[end] - faulty[begin]) / np.maximum(end - begin, 1))
