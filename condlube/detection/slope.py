"""Robust slope: Theil-Sen with its interval, Mann-Kendall with correction for autocorrelation.

References: Sen (J. Am. Stat. Assoc. 63 (1968) 1379) for slope and interval; Hamed and Rao (J. Hydrology 204 (1998) 182)
for the variance of the Mann-Kendall statistic of autocorrelated data. The series are short: sorting in place is quick.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel, median, select

_Z95 = 1.959963984540054  # significance of an autocorrelation, as in Hamed and Rao
_Z90 = 1.6448536269514722  # 90 % interval of the slope


@kernel
def mann_kendall(y: Floats) -> tuple[float, float]:
    """Mann-Kendall statistic S of a series and its variance for independent values, ties allowed."""
    s = 0.0
    for i in range(len(y)):
        for j in range(i + 1, len(y)):
            s += (y[j] > y[i]) - (y[j] < y[i])
    return s, variance(y)


@kernel
def variance(y: Floats) -> float:
    """Variance of the Mann-Kendall statistic of a series of independent values, ties allowed."""
    n = len(y)
    ties = 0.0
    for i in range(n):
        same = 0
        for j in range(n):
            same += y[j] == y[i]
        ties += (same - 1.0) * (2.0 * same + 5.0)
    made: float = (n * (n - 1.0) * (2.0 * n + 5.0) - ties) / 18.0
    return made


@kernel
def correction(y: Floats, slope: float) -> float:
    """Factor on the variance of S for autocorrelation: from the significant ones of the detrended ranks."""
    n = len(y)
    flat, rank = np.empty(n), np.empty(n)
    for i in range(n):
        flat[i] = y[i] - slope * i
    bottom = 0.0
    for i in range(n):
        below, equal = 0, 0
        for j in range(n):
            below += flat[j] < flat[i]
            equal += flat[j] == flat[i]
        rank[i] = below + 0.5 * (equal - 1.0) - 0.5 * (n - 1.0)
        bottom += rank[i] * rank[i]
    if bottom == 0.0 or n < 4:
        return 1.0
    total = 0.0
    for lag in range(1, n - 1):
        together = 0.0
        for i in range(n - lag):
            together += rank[i] * rank[i + lag]
        if abs(together / bottom) > _Z95 / np.sqrt(n):
            total += (n - lag) * (n - lag - 1.0) * (n - lag - 2.0) * (together / bottom)
    return 1.0 + 2.0 * total / (n * (n - 1.0) * (n - 2.0))


@kernel
def theil_sen(x: Floats, y: Floats, z: float) -> tuple[float, float, float]:
    """Theil-Sen slope with the interval of Sen at normal quantile ``z``; ``x`` ascends strictly.

    The variance is corrected for autocorrelation, never shrunk.
    """
    n = len(x)
    count = n * (n - 1) // 2
    pairs = np.empty(count)
    at = 0
    for i in range(n):
        for j in range(i + 1, n):
            pairs[at] = (y[j] - y[i]) / (x[j] - x[i])
            at += 1
    slope = median(pairs, count)
    step = (x[n - 1] - x[0]) / (n - 1)
    wide = z * np.sqrt(variance(y) * max(1.0, correction(y, slope * step)))
    first = int(max(np.floor((count - wide) / 2.0 + 0.5) - 1.0, 0.0))
    last = int(min(np.floor((count + wide) / 2.0 + 0.5), count - 1.0))
    middle = (count - 1) // 2  # the median has parted the smaller from the larger
    return slope, select(pairs, 0, middle + 1, first), select(pairs, middle, count, last)


def weekly_slopes(lo: Ints, hi: Ints, day: Ints, residual: Floats, fewest: int) -> tuple[Floats, Floats, Floats]:
    """Slope per 30 days of the weekly medians of many series, with its 90 % interval; weeks end with the last night.

    NaN where there are under ``fewest`` weeks.
    """
    made = np.full((3, len(lo)), np.nan)
    _weekly_slopes(lo, hi, day, residual, fewest, made)
    return 30.0 * made[0], 30.0 * made[1], 30.0 * made[2]


@kernel
def _weekly_slopes(lo: Ints, hi: Ints, day: Ints, residual: Floats, fewest: int, made: Floats) -> None:
    known = np.full(len(day), -1)  # first row of the week that was last seen to end with each row, ...
    middle, level = np.empty(len(day)), np.empty(len(day))  # ... its mean day and median
    own = np.empty(7)
    widest = (hi - lo).max() if len(lo) else 0
    x, y = np.empty(widest), np.empty(widest)
    for k in range(len(lo)):
        if hi[k] - lo[k] < fewest:
            continue
        week, stop, begins = widest, hi[k], day[hi[k] - 1] - 6
        while stop > lo[k]:  # from the last week back
            while day[stop - 1] < begins:
                begins -= 7
            begin = stop - 1
            while begin > lo[k] and day[begin - 1] >= begins:
                begin -= 1
            if known[stop - 1] != begin:
                known[stop - 1] = begin
                total = 0.0
                for row in range(begin, stop):
                    own[row - begin] = residual[row]
                    total += day[row]
                middle[stop - 1] = total / (stop - begin)
                level[stop - 1] = median(own, stop - begin)
            week -= 1
            x[week], y[week] = middle[stop - 1], level[stop - 1]
            stop = begin
        if widest - week >= fewest:
            made[0, k], made[1, k], made[2, k] = theil_sen(x[week:], y[week:], _Z90)
