"""Operating cells of a day by speed, and the figures of one cell."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, kernel
from condlube.manipulation.memory import MEDIAN, OCTILE, P10, P90, SPREAD

MAD_TO_SD = 1.482602218505602  # 1 / 75 % quantile of the standard normal distribution


@kernel
def cell_floors(speed: Floats, width: float, most: int) -> Floats:
    """Lowest speed of each cell, ascending, shape (cells,).

    From the lowest speed up, a cell holds what is at most ``width`` faster than its slowest; so a machine at a fixed
    speed always has one cell. Where that would give more than ``most`` cells they are made wider, all alike.
    """
    ordered = np.sort(speed)
    ratio = 1.0 + width
    if ordered[0] > 0.0:
        ratio = max(ratio, (ordered[-1] / ordered[0]) ** (1.0 / most) * (1.0 + 1e-9))
    floors = np.empty(most)
    count = 0
    for value in ordered:
        if count == 0 or (value > floors[count - 1] * ratio and count < most):
            floors[count] = value
            count += 1
    return floors[:count]


@kernel
def cell_of(speed: float, floors: Floats) -> int:
    """Cell that holds ``speed``: the last whose floor is not above it."""
    cell = 0
    while cell + 1 < floors.size and floors[cell + 1] <= speed:
        cell += 1
    return cell


@kernel
def describe(value: Floats, row: Floats, with_octiles: bool) -> None:
    """Median, spread, quantiles and, if wanted, octiles of at least one value, into a summary row."""
    ordered = np.sort(value)
    row[MEDIAN] = quantile(ordered, 0.5)
    row[P10], row[P90] = quantile(ordered, 0.1), quantile(ordered, 0.9)
    row[SPREAD] = MAD_TO_SD * quantile(np.sort(np.abs(ordered - row[MEDIAN])), 0.5)
    if with_octiles:
        octiles(ordered, row[OCTILE : OCTILE + 8])


@kernel
def quantile(ordered: Floats, share: float) -> float:
    """Quantile of sorted values with linear interpolation (numpy's default)."""
    place = share * (ordered.size - 1)
    below = int(place)
    above = min(below + 1, ordered.size - 1)
    return ordered[below] + (ordered[above] - ordered[below]) * (place - below)


@kernel
def octiles(ordered: Floats, out: Floats) -> None:
    """Means of the eight equal parts of sorted values.

    Value i fills the stretch from i/n to (i+1)/n; a part takes of each value what falls into it. So the mean of the
    octiles is the mean of the values, for any number of them.
    """
    n = ordered.size
    for k in range(8):
        low, high = k * n / 8.0, (k + 1) * n / 8.0
        total = 0.0
        i = int(low)
        while i < n and i < high:
            total += ordered[i] * (min(high, i + 1.0) - max(low, float(i)))
            i += 1
        out[k] = total * 8.0 / n
