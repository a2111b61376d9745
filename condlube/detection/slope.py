"""Robust slope: Theil-Sen with its interval, Mann-Kendall with correction for autocorrelation.

References: Sen (J. Am. Stat. Assoc. 63 (1968) 1379) for slope and interval; Hamed and Rao (J. Hydrology 204 (1998) 182)
for the variance of the Mann-Kendall statistic of autocorrelated data. Tables hold one series a line.
"""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, quantile, ranges, sort_stretches, starts_of

_Z95 = 1.959963984540054  # significance of an autocorrelation, as in Hamed and Rao
_Z90 = 1.6448536269514722  # 90 % interval of the slope
_AT_ONCE = 2048  # series that are worked on while they are in the cache


def mann_kendall(y: Floats) -> tuple[Floats, Floats]:
    """Mann-Kendall statistic S of each line and its variance for independent values, ties allowed."""
    n = y.shape[1]
    i, j = np.triu_indices(n, 1)
    s = np.sign(y[:, j] - y[:, i]).sum(axis=1)
    same = (y[:, :, None] == y[:, None, :]).sum(axis=2)
    ties = ((same - 1.0) * (2.0 * same + 5.0)).sum(axis=1)
    return s, (n * (n - 1.0) * (2.0 * n + 5.0) - ties) / 18.0


def correction(y: Floats, slope: Floats) -> Floats:
    """Factor on the variance of S for autocorrelation: from the significant ones of the detrended ranks."""
    n = y.shape[1]
    flat = y - slope[:, None] * np.arange(n)
    below = (flat[:, None, :] < flat[:, :, None]).sum(axis=2)
    equal = (flat[:, None, :] == flat[:, :, None]).sum(axis=2)
    rank = below + 0.5 * (equal - 1) - 0.5 * (n - 1)
    bottom = (rank**2).sum(axis=1)
    total = np.zeros(len(y))
    for lag in range(1, n - 1):
        r = (rank[:, :-lag] * rank[:, lag:]).sum(axis=1) / np.where(bottom > 0.0, bottom, 1.0)
        weight = (n - lag) * (n - lag - 1.0) * (n - lag - 2.0)
        total += np.where(np.abs(r) > _Z95 / np.sqrt(n), weight * r, 0.0)
    return np.where((bottom > 0.0) & (n >= 4), 1.0 + 2.0 * total / max(n * (n - 1.0) * (n - 2.0), 1.0), 1.0)


def theil_sen(x: Floats, y: Floats, z: float) -> tuple[Floats, Floats, Floats]:
    """Theil-Sen slope of each line with the interval of Sen at normal quantile ``z``; ``x`` ascends strictly.

    The variance is corrected for autocorrelation, never shrunk.
    """
    i, j = np.triu_indices(x.shape[1], 1)
    count = len(i)
    pairs = np.sort((y[:, j] - y[:, i]) / (x[:, j] - x[:, i]), axis=1)
    slope = 0.5 * (pairs[:, (count - 1) // 2] + pairs[:, count // 2])
    step = (x[:, -1] - x[:, 0]) / (x.shape[1] - 1)
    wide = z * np.sqrt(mann_kendall(y)[1] * np.maximum(1.0, correction(y, slope * step)))
    first, last = np.floor((count - wide) / 2.0 + 0.5) - 1.0, np.floor((count + wide) / 2.0 + 0.5)
    low, high = (
        np.take_along_axis(pairs, np.clip(k, 0, count - 1).astype(np.int64)[:, None], axis=1)[:, 0]
        for k in (first, last)
    )
    return slope, low, high


def weekly_slopes(lo: Ints, hi: Ints, day: Ints, residual: Floats, fewest: int) -> tuple[Floats, Floats, Floats]:
    """Slope per 30 days of the weekly medians of many series, with its 90 % interval; weeks end with the last night."""
    made = np.full((3, len(lo)), np.nan)
    long = np.flatnonzero(hi - lo >= fewest)
    for begin in range(0, len(long), _AT_ONCE):
        some = long[begin : begin + _AT_ONCE]
        made[:, some] = _weekly_slopes(lo[some], hi[some], day, residual, fewest)
    return 30.0 * made[0], 30.0 * made[1], 30.0 * made[2]


def _weekly_slopes(lo: Ints, hi: Ints, day: Ints, residual: Floats, fewest: int) -> Floats:
    rows, series = ranges(lo, hi), np.repeat(np.arange(len(lo)), hi - lo)
    number = (day[hi - 1][series] - day[rows]) // 7
    begins = (np.diff(series, prepend=-1) != 0) | (np.diff(number, prepend=-1) != 0)
    week, of = np.cumsum(begins) - 1, series[begins]
    x = np.bincount(week, day[rows]) / np.bincount(week)
    start = starts_of(week, len(of))
    y = quantile(sort_stretches(residual[rows], start), start, 0.5)
    weeks = np.bincount(of, minlength=len(lo))
    first = np.cumsum(weeks) - weeks
    made = np.full((3, len(lo)), np.nan)
    for n in np.unique(weeks[weeks >= fewest]).tolist():
        alike = np.flatnonzero(weeks == n)
        place = first[alike][:, None] + np.arange(n)
        made[:, alike] = theil_sen(x[place], y[place], _Z90)
    return made
