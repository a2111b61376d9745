"""Robust slope: Theil-Sen with its interval, Mann-Kendall with correction for autocorrelation.

References: Sen (J. Am. Stat. Assoc. 63 (1968) 1379) for slope and interval; Hamed and Rao (J. Hydrology 204 (1998) 182)
for the variance of the Mann-Kendall statistic of autocorrelated data.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import median, select

_Z95 = 1.959963984540054  # significance of an autocorrelation, as in Hamed and Rao
_Z90 = 1.6448536269514722  # 90 % interval of the slope


@kernel
def pair_slopes(x: Floats, y: Floats, out: Floats) -> int:
    """Slopes of all pairs with different x to ``out``; returns their number."""
    count = 0
    for i in range(x.size):
        for j in range(i + 1, x.size):
            if x[j] != x[i]:
                out[count] = (y[j] - y[i]) / (x[j] - x[i])
                count += 1
    return count


@kernel
def mann_kendall(y: Floats) -> tuple[float, float]:
    """Mann-Kendall statistic S and its variance for independent values, ties allowed."""
    n = y.size
    s = 0.0
    ties = 0.0
    for i in range(n):
        same = 1
        before = False
        for j in range(n):
            if j > i:
                s += 1.0 if y[j] > y[i] else (-1.0 if y[j] < y[i] else 0.0)
            if j != i and y[j] == y[i]:
                same += 1
                before = before or j < i
        if not before:
            ties += same * (same - 1.0) * (2.0 * same + 5.0)
    return s, (n * (n - 1.0) * (2.0 * n + 5.0) - ties) / 18.0


@kernel
def correction(y: Floats, slope: float) -> float:
    """Factor on the variance of S for autocorrelation: from the significant ones of the detrended ranks."""
    n = y.size
    rank = np.empty(n)
    for i in range(n):
        below = 0.0
        for j in range(n):
            ours = y[i] - slope * i
            theirs = y[j] - slope * j
            below += 1.0 if theirs < ours else (0.5 if theirs == ours and j != i else 0.0)
        rank[i] = below + 1.0
    mean = 0.5 * (n + 1.0)
    bottom = 0.0
    for i in range(n):
        bottom += (rank[i] - mean) ** 2
    if bottom <= 0.0 or n < 4:
        return 1.0
    total = 0.0
    for lag in range(1, n - 1):
        top = 0.0
        for i in range(n - lag):
            top += (rank[i] - mean) * (rank[i + lag] - mean)
        if abs(top / bottom) > _Z95 / np.sqrt(n):
            total += (n - lag) * (n - lag - 1.0) * (n - lag - 2.0) * top / bottom
    return 1.0 + 2.0 * total / (n * (n - 1.0) * (n - 2.0))


@kernel
def theil_sen(x: Floats, y: Floats, z: float) -> tuple[float, float, float]:
    """Theil-Sen slope with the interval of Sen at normal quantile ``z``; its variance corrected, never shrunk."""
    pairs = np.empty(x.size * (x.size - 1) // 2)
    count = pair_slopes(x, y, pairs)
    if count == 0:
        return np.nan, np.nan, np.nan
    slope = median(pairs[:count])
    _, variance = mann_kendall(y)
    step = (x[-1] - x[0]) / (x.size - 1)
    wide = z * np.sqrt(variance * max(1.0, correction(y, slope * step)))
    first = int(min(max(np.floor((count - wide) / 2.0 + 0.5) - 1.0, 0.0), count - 1.0))
    last = int(min(max(np.floor((count + wide) / 2.0 + 0.5), 0.0), count - 1.0))
    return slope, select(pairs[:count], first), select(pairs[:count], last)


@kernel
def weekly_slopes(lo: Ints, hi: Ints, day: Ints, residual: Floats, fewest: int) -> tuple[Floats, Floats, Floats]:
    """Slope per 30 days of the weekly medians of many series, with its 90 % interval; weeks end with the last night."""
    slope = np.full(lo.size, np.nan)
    low = np.full(lo.size, np.nan)
    high = np.full(lo.size, np.nan)
    for k in range(lo.size):
        if hi[k] - lo[k] < fewest:
            continue
        last = day[hi[k] - 1]
        most = (last - day[lo[k]]) // 7 + 1
        x = np.empty(most)
        y = np.empty(most)
        week = np.empty(7)
        weeks = 0
        i = lo[k]
        while i < hi[k]:
            number = (last - day[i]) // 7
            n = 0
            total = 0.0
            while i < hi[k] and (last - day[i]) // 7 == number:
                week[n] = residual[i]
                total += day[i]
                n += 1
                i += 1
            x[weeks] = total / n
            y[weeks] = median(week[:n])
            weeks += 1
        if weeks >= fewest:
            slope[k], low[k], high[k] = theil_sen(x[:weeks], y[:weeks], _Z90)
    return 30.0 * slope, 30.0 * low, 30.0 * high
