"""Values held between readings, and the first-order thermal lag behind them."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Bools, Floats, Ints, kernel


@kernel
def hold(at: Ints, time: Ints, value: Floats, usable: Bools, age: int, out: Floats) -> None:
    """Fill the gaps of ``out`` (NaN) with the newest usable ``value`` at each time of ``at``, if not older than ``age``.

    ``at`` and ``time`` are sorted, in the same unit as ``age``.
    """
    j, last = 0, -1
    for i in range(at.size):
        while j < time.size and time[j] <= at[i]:
            if usable[j]:
                last = j
            j += 1
        if last >= 0 and np.isnan(out[i]) and at[i] - time[last] <= age:
            out[i] = value[last]


@kernel
def lagged(time: Ints, value: Floats, constant: float) -> Floats:
    """First-order lag of a value held between the times, at those times.

    ``y' = (x - y) / constant`` with x constant from each time to the next, solved exactly:
    ``y[k+1] = x[k] + (y[k] - x[k]) exp(-(t[k+1] - t[k]) / constant)``, from ``y[first known] = x``. NaN in x holds y.
    """
    out = np.full(time.size, np.nan)
    y = np.nan
    for k in range(time.size):
        if k > 0 and not np.isnan(y):
            y = after(y, value[k - 1], float(time[k] - time[k - 1]), constant)
        if np.isnan(y):
            y = value[k]
        out[k] = y
    return out


@kernel
def after(y: float, x: float, elapsed: float, constant: float) -> float:
    """The lagged value ``elapsed`` later, with the input at ``x`` meanwhile."""
    if np.isnan(x):
        return y
    return x + (y - x) * np.exp(-elapsed / constant)
