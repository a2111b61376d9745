"""Readings that are there already: within one file, and against what is stored."""

from __future__ import annotations

import numpy as np

from condlube.acquisition.normalise import joined

_US_PER_S = 1_000_000


def settle(readings: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Readings (READING) sorted by point and time, each pair once, and the rest.

    Of several lines for one point and time the last is kept. The rest that agrees with it in value and quality is
    duplicate, the rest that does not is in conflict: returned are kept readings and conflicting ones, so
    duplicates = given - kept - conflicting.
    """
    point, time = (np.ascontiguousarray(readings[name]) for name in ("point", "time"))
    if ((point[1:] > point[:-1]) | ((point[1:] == point[:-1]) & (time[1:] > time[:-1]))).all():
        return readings, readings[:0]
    key = _key(point, time)
    ordered = readings.take(np.lexsort((time, point)) if key is None else np.argsort(key, kind="stable"))
    if not _repeats(ordered).any():
        return ordered, ordered[:0]
    ordered = readings.take(np.lexsort((readings["line"], time, point)))
    earlier = np.append(_repeats(ordered), False)  # a later line follows for the same point and time
    last = np.flatnonzero(~earlier)
    kept = ordered.take(last)
    of_group = kept.take(np.searchsorted(last, np.arange(len(ordered))))
    same = (ordered["value"] == of_group["value"]) & (ordered["quality"] == of_group["quality"])
    return kept, ordered.compress(earlier & ~same)


def newest(stored: np.ndarray) -> np.ndarray:
    """Of READING rows in the order in which they were taken in, the last per point and time."""
    ordered = stored.take(np.lexsort((stored["time"], stored["point"])))
    last: np.ndarray = ordered.compress(~np.append(_repeats(ordered), False)[: len(ordered)])
    return last


def not_stored(readings: np.ndarray, stored: np.ndarray) -> np.ndarray:
    """Mask of the readings that ``stored`` (READING, the newest per point and time) does not hold just so."""
    fresh = np.ones(len(readings), bool)
    near = _near(readings, stored)
    if len(near) == 0:
        return fresh
    both = joined([stored, readings.take(near)])
    order = np.lexsort((both["time"], both["point"]))
    ordered = both.take(order)
    again = _repeats(ordered)
    for name in ("value", "quality"):
        again &= ordered[name][1:] == ordered[name][:-1]
    mask = np.ones(len(both), bool)
    mask[order[1:]] = ~again
    fresh[near] = mask[len(stored) :]
    return fresh


def meet(some: np.ndarray, others: np.ndarray) -> bool:
    """Whether two arrays, each with every point and time once, have one in common."""
    both = joined([some, others.take(_near(others, some))])
    return bool(_repeats(both.take(np.lexsort((both["time"], both["point"])))).any())


def _near(readings: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Positions of the readings from the first to the last time of the ``others``."""
    if len(others) == 0:
        return np.empty(0, np.int64)
    time = others["time"]
    return np.flatnonzero((readings["time"] >= time.min()) & (readings["time"] <= time.max()))


def _repeats(ordered: np.ndarray) -> np.ndarray:
    again: np.ndarray = (ordered["point"][1:] == ordered["point"][:-1]) & (ordered["time"][1:] == ordered["time"][:-1])
    return again


def _key(point: np.ndarray, time: np.ndarray) -> np.ndarray | None:
    """One integer that sorts as point and time do, None where it does not fit."""
    if len(point) == 0 or (time % _US_PER_S).any():
        return None
    second = time // _US_PER_S
    second -= second.min()
    span = int(second.max()) + 1
    return point * np.int64(span) + second if (int(point.max()) + 1) * span < 2**62 else None
