"""Which of the two a local time in the repeated hour was, told by the order of the lines of one point."""

from __future__ import annotations

import numpy as np

from condlube.acquisition.clock import Change

FIRST, SECOND, UNKNOWN = 0, 1, -1
CONTEXT_US = 3 * 3_600_000_000
_HOLE = 1.5


def folds(point: np.ndarray, line: np.ndarray, local_us: np.ndarray, change: Change) -> np.ndarray:
    """FIRST, SECOND or UNKNOWN for each row; rows outside the repeated hour, given as context, get UNKNOWN.

    ``local_us`` are the local times of all rows of the file within ``CONTEXT_US`` of the hour.
    """
    answer = np.full(len(point), UNKNOWN, np.int64)
    order = np.lexsort((line, point))
    bounds = np.flatnonzero(np.diff(point[order])) + 1
    for rows in np.split(order, bounds):
        twice = (local_us[rows] >= change.first_us) & (local_us[rows] < change.last_us)
        if twice.any():
            answer[rows[twice]] = _of_one_point(local_us[rows], twice, change.before_us - change.after_us)
    return answer


def _of_one_point(local_us: np.ndarray, twice: np.ndarray, shift_us: int) -> np.ndarray:
    """Answer for the rows in ``twice``, in file order.

    The file must run forwards or backwards throughout, and show which: as many steps back as forth tell nothing.
    Local time then falls back at most once, where the second pass begins. If it nowhere does, one pass was exported
    only; it is told apart if just one reading leaves no hole in a sampling in which an hour too much is one.
    """
    steps = np.diff(local_us)
    falling, rising = int((steps < 0).sum()), int((steps > 0).sum())
    if falling == rising:
        return np.full(int(twice.sum()), UNKNOWN)
    backwards = falling > rising
    if backwards:
        local_us, twice, steps = local_us[::-1], twice[::-1], -steps[::-1]
    regular = steps[steps > 0]
    largest = _HOLE * float(np.median(regular)) if len(regular) >= 3 else 0.0
    falls = np.flatnonzero(steps <= 0)
    count = int(twice.sum())
    if len(falls) > 1:
        splits = []
    elif len(falls) == 1:
        splits = [int(twice[: falls[0] + 1].sum())]
    else:
        splits = [0, count] if largest < shift_us else []
    good = []
    for split in splits:
        second = np.cumsum(twice) > split
        after = second | (~twice & (np.arange(len(twice)) > np.flatnonzero(twice)[-1]))
        elapsed = np.diff(local_us + shift_us * after)
        fell_back = len(falls) == 1 and steps[falls[0]] < 0
        if (elapsed > 0).all() and (fell_back or elapsed.max(initial=0.0) <= largest):
            good.append(second[twice].astype(np.int64))
    answer = good[0] if len(good) == 1 else np.full(count, UNKNOWN)
    return answer[::-1] if backwards else answer
