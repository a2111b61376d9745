"""Step: the night on which a level changed most, as a shift of the mean (binary segmentation with squared error)."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel
from condlube.manipulation.robust import median

_BEFORE, _AFTER = 5, 3  # nights on either side that tell the shift


@kernel
def steps(lo: Ints, hi: Ints, residual: Floats) -> Ints:
    """First row after the best single change of mean of each series; -1 with fewer than two rows."""
    made = np.full(lo.size, -1)
    for k in range(lo.size):
        n = hi[k] - lo[k]
        total = 0.0
        for i in range(lo[k], hi[k]):
            total += residual[i]
        best = 0.0
        left = 0.0
        for i in range(lo[k] + 1, hi[k]):
            left += residual[i - 1]
            m = i - lo[k]
            gain = left * left / m + (total - left) ** 2 / (n - m) - total * total / n
            if gain > best:
                best = gain
                made[k] = i
    return made


@kernel
def shifts(lo: Ints, hi: Ints, day: Ints, residual: Floats, at: Ints) -> Floats:
    """Median of the first three nights from day ``at[k]`` on less that of the last five before; NaN if none."""
    made = np.full(lo.size, np.nan)
    for k in range(lo.size):
        i = lo[k]
        while i < hi[k] and day[i] < at[k]:
            i += 1
        first = max(lo[k], i - _BEFORE)
        last = min(hi[k], i + _AFTER)
        if first < i < last:
            made[k] = median(residual[i:last].copy()) - median(residual[first:i].copy())
    return made
