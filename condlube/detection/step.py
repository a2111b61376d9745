"""Step: the night on which a level changed most, as a shift of the mean (binary segmentation with squared error)."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, columns, first_at_least, medians

_BEFORE, _AFTER = 5, 3  # nights on either side that tell the shift


def steps(lo: Ints, hi: Ints, residual: Floats) -> Ints:
    """First row after the best single change of mean of each series; -1 with fewer than two rows."""
    if not (hi - lo > 1).any():
        return np.full(len(lo), -1)
    rows, filled = columns(lo, hi)
    sums = np.cumsum(np.where(filled, residual[rows], 0.0), axis=1)
    n, total = (hi - lo)[:, None].astype(float), sums[:, -1:]
    m, left = np.arange(1, rows.shape[1]), sums[:, :-1]
    gain = left**2 / m + (total - left) ** 2 / np.maximum(n - m, 1.0) - total**2 / np.maximum(n, 1.0)
    gain[~filled[:, 1:]] = 0.0
    best = gain.argmax(axis=1)
    return np.where(gain.max(axis=1) > 0.0, lo + 1 + best, -1)


def shifts(lo: Ints, hi: Ints, day: Ints, residual: Floats, at: Ints) -> Floats:
    """Median of the first three nights from day ``at[k]`` on less that of the last five before; NaN if none."""
    here = first_at_least(day, lo, hi, at)
    before = medians(residual, np.maximum(lo, here - _BEFORE), here)
    after = medians(residual, here, np.minimum(hi, here + _AFTER))
    return after - before
