"""Compiled functions, and array helpers that the stage shares.

Kernels loop over float64 arrays: times are microseconds since the epoch (exact in float64), codes and states small
whole numbers. A first run compiles every kernel, and that costs some 20 ms a line: only what NumPy cannot do in one
pass is a kernel. Whatever sums does so in the order of a point's own readings, so no result depends on the batch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numpy as np
import numpy.typing as npt
from numba import njit

Parameters = ParamSpec("Parameters")
Result = TypeVar("Result")

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def kernel(function: Callable[Parameters, Result]) -> Callable[Parameters, Result]:
    """Compile at first call and keep the machine code on disk."""
    return cast("Callable[Parameters, Result]", njit(cache=True, error_model="numpy")(function))


def ranges(lo: Ints, hi: Ints) -> Ints:
    """The indices of all the ranges ``lo:hi``, one after another."""
    size = hi - lo
    begin = np.cumsum(size) - size
    return np.repeat(lo - begin, size) + np.arange(size.sum())


def starts_of(group: Ints, groups: int) -> Ints:
    """Where each of ``groups`` begins in a sorted column of group numbers, and where the last ends."""
    return np.searchsorted(group, np.arange(groups + 1)).astype(np.int64)


def newest_not_after(group: Ints, time: Floats, of: Ints, at: Floats) -> Ints:
    """For each query (group ``of``, time ``at``) the index of the newest entry of its group not after it, -1 if none.

    ``group`` and ``time`` are sorted together.
    """
    if not len(time) or not len(at):
        return np.full(len(at), -1)
    origin = min(time.min(), at.min())
    width = np.int64(max(time.max(), at.max()) - origin) + 1
    key = group * width + (time - origin).astype(np.int64)
    found = np.searchsorted(key, of * width + (at - origin).astype(np.int64), side="right") - 1
    return np.where((found >= 0) & (group[found] == of), found, -1)


def sort_stretches(value: Floats, start: Ints) -> Floats:
    """The values sorted within each stretch ``start[g]:start[g + 1]``, all stretches of one length at a time."""
    out = value.copy()
    size = np.diff(start)
    for n in np.flatnonzero(np.bincount(size)) if len(size) else ():
        if n > 1:
            place = start[:-1][size == n][:, None] + np.arange(n)
            out[place] = np.sort(value[place], axis=1)
    return out


def quantile(ordered: Floats, start: Ints, share: float) -> Floats:
    """Quantile of each sorted stretch ``start[g]:start[g + 1]``, linear interpolation as NumPy's; NaN of nothing."""
    size = np.diff(start)
    out = np.full(len(size), np.nan)
    some = np.flatnonzero(size)
    place = share * (size[some] - 1)
    below = place.astype(np.int64)
    above = np.minimum(below + 1, size[some] - 1)
    low, high = ordered[start[some] + below], ordered[start[some] + above]
    out[some] = low + (high - low) * (place - below)
    return out


def columns(first: Ints, stop: Ints) -> tuple[Ints, Bools]:
    """Rows ``first[k]`` to ``stop[k]`` of many series as a table, a line each, and which of its places are filled.

    Places that are not filled point at row 0.
    """
    size = stop - first
    place = np.arange(max(int(size.max(initial=0)), 0))
    filled: Bools = place < size[:, None]
    return np.where(filled, first[:, None] + place, 0), filled


@kernel
def select(values: Floats, first: int, stop: int, place: int) -> float:
    """The value at ``place`` of ``values[first:stop]`` in ascending order (quickselect, in place): what lies before it
    is no larger then, what lies behind it no smaller."""
    low, high = first, stop
    while high - low > 1:
        a, b, c = values[low], values[(low + high) // 2], values[high - 1]
        pivot = max(min(a, b), min(max(a, b), c))
        below = low
        for i in range(low, high):  # no branch in the loop: which way a value goes cannot be foreseen
            value = values[i]
            values[i], values[below] = values[below], value
            below += value < pivot
        if below == low:  # nothing is smaller: those equal to it are parted from the larger ones
            for i in range(low, high):
                value = values[i]
                values[i], values[below] = values[below], value
                below += value <= pivot
            if place < below:
                break
        if place < below:
            high = below
        else:
            low = below
    found: float = values[place]
    return found


@kernel
def median(values: Floats, n: int) -> float:
    """Median of the first ``n`` values, at least one, which are put in another order."""
    lower = select(values, 0, n, (n - 1) // 2)
    upper = lower if n % 2 else select(values, n // 2, n, n // 2)
    middle: float = (lower + upper) / 2
    return middle


@kernel
def medians(value: Floats, first: Ints, stop: Ints) -> Floats:
    """Median of rows ``first[k]`` to ``stop[k]`` of many short series; NaN of none."""
    made = np.full(len(first), np.nan)
    own = np.empty(len(value))
    for k in range(len(first)):
        if stop[k] > first[k]:
            for row in range(first[k], stop[k]):
                own[row - first[k]] = value[row]
            made[k] = median(own, stop[k] - first[k])
    return made


@kernel
def sliding_quantiles(
    value: Floats, lo: Ints, hi: Ints, order: Ints, low: float, high: float
) -> tuple[Floats, Floats]:  # fmt: skip
    """Two quantiles of rows ``lo[k]`` to ``hi[k]`` of many series, linear interpolation as NumPy's; NaN of none.

    ``order`` visits the series such that neighbours share most rows: what they share stays sorted.
    """
    made = np.full((2, len(lo)), np.nan)
    most = 0
    for k in range(len(lo)):
        most = max(most, hi[k] - lo[k])
    ordered = np.empty(most + 1)
    n, first, stop = 0, 0, 0
    for k in order:
        if lo[k] < first or hi[k] < stop or lo[k] >= stop:
            n, first, stop = 0, lo[k], lo[k]
        for row in range(first, lo[k]):
            i = 0
            while ordered[i] < value[row]:
                i += 1
            n -= 1
            while i < n:
                ordered[i] = ordered[i + 1]
                i += 1
        for row in range(stop, hi[k]):
            i = n
            while i > 0 and ordered[i - 1] > value[row]:
                ordered[i] = ordered[i - 1]
                i -= 1
            ordered[i] = value[row]
            n += 1
        first, stop = lo[k], hi[k]
        if n:
            made[0, k], made[1, k] = _between(ordered, low * (n - 1)), _between(ordered, high * (n - 1))
    return made[0], made[1]


@kernel
def _between(ordered: Floats, place: float) -> float:
    """The value at a place between two whole ones."""
    below = int(place)
    above = below + 1 if place > below else below
    value: float = ordered[below] + (ordered[above] - ordered[below]) * (place - below)
    return value


@kernel
def first_at_least(value: Ints, lo: Ints, hi: Ints, least: Ints) -> Ints:
    """First row of each ascending series ``lo[k]`` to ``hi[k]`` with at least ``least[k]``; ``hi[k]`` if none."""
    made = np.empty(len(lo), dtype=np.int64)
    for k in range(len(lo)):
        below, above = lo[k], hi[k]
        while below < above:
            middle = (below + above) // 2
            if value[middle] < least[k]:
                below = middle + 1
            else:
                above = middle
        made[k] = below
    return made
