"""Robust linear regression of many small series: iteratively reweighted least squares, compiled once.

No BLAS: the same numbers on every machine and in any batch.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from condlube.manipulation.kernel import Floats, Ints, kernel

Bools = npt.NDArray[np.bool_]

HUBER, TUKEY = 0, 1
HUBER_TUNING, TUKEY_TUNING = 1.345, 4.685  # 95 % efficiency for normal errors (Huber 1981; Beaton and Tukey 1974)
MAD_TO_SD = 0.6744897501960817  # 75 % quantile of the standard normal distribution


@kernel
def select(a: Floats, k: int) -> float:
    """The k-th smallest of ``a`` (0-based), which is partly sorted on the way (Hoare's selection)."""
    lo, hi = 0, a.size - 1
    while lo < hi:
        pivot = a[k]
        i, j = lo, hi
        while i <= j:
            while a[i] < pivot:
                i += 1
            while pivot < a[j]:
                j -= 1
            if i <= j:
                a[i], a[j] = a[j], a[i]
                i += 1
                j -= 1
        if j < k:
            lo = i
        if k < i:
            hi = j
    return float(a[k])


@kernel
def median(a: Floats) -> float:
    """Median of ``a`` without NaN, which is partly sorted on the way; NaN if empty."""
    n = a.size
    if n == 0:
        return np.nan
    upper = select(a, n // 2)
    if n % 2:
        return float(upper)
    lower = a[0]
    for i in range(1, n // 2):
        lower = max(lower, a[i])
    return float(lower + upper) / 2


@kernel
def solve_positive(a: Floats, b: Floats, out: Floats) -> None:
    """Solve ``a x = b`` for a positive semidefinite ``a`` (overwritten by its Cholesky factor); x to ``out``.

    A direction without information gets coefficient 0.
    """
    p = a.shape[0]
    for j in range(p):
        top = a[j, j]
        pivot = top
        for k in range(j):
            pivot -= a[j, k] * a[j, k]
        if pivot <= 1e-12 * top or top <= 0.0:
            a[j, j] = 0.0
            for i in range(j + 1, p):
                a[i, j] = 0.0
            continue
        root = np.sqrt(pivot)
        a[j, j] = root
        for i in range(j + 1, p):
            value = a[i, j]
            for k in range(j):
                value -= a[i, k] * a[j, k]
            a[i, j] = value / root
    for i in range(p):
        value = b[i]
        for k in range(i):
            value -= a[i, k] * out[k]
        out[i] = value / a[i, i] if a[i, i] > 0.0 else 0.0
    for i in range(p - 1, -1, -1):
        value = out[i]
        for k in range(i + 1, p):
            value -= a[k, i] * out[k]
        out[i] = value / a[i, i] if a[i, i] > 0.0 else 0.0


@kernel
def irls(
    x: Floats, y: Floats, base: Floats, mean: Floats, precision: Floats, floor: float, kind: int, tuning: float,
    tolerance: float, steps: int, beta: Floats, weights: Floats, restart: bool,
) -> float:  # fmt: skip
    """One robust fit; coefficients to ``beta``, final weights to ``weights``; returns the residual scale.

    Minimises sum base·rho(r/s) + s-scaled Gaussian prior (``mean``, ``precision`` per coefficient; 0: no prior), with s
    the median absolute residual over 0.6745, never under ``floor``. With ``restart`` the first step is unweighted
    least squares, else the given ``beta`` is the start.
    """
    n, p = x.shape
    a = np.empty((p, p))
    b = np.empty(p)
    new = np.empty(p)
    size = np.empty(n)
    rank = np.empty(n)
    scale = floor
    if restart:
        for i in range(n):
            weights[i] = base[i]
    for step in range(steps):
        if step > 0 or not restart:
            for i in range(n):
                residual = y[i]
                for j in range(p):
                    residual -= x[i, j] * beta[j]
                size[i] = abs(residual)
                rank[i] = size[i]
            scale = max(median(rank) / MAD_TO_SD, floor)
            for i in range(n):
                z = size[i] / scale if scale > 0.0 else 0.0
                if kind == HUBER:
                    w = 1.0 if z <= tuning else tuning / z
                else:
                    w = (1.0 - (z / tuning) ** 2) ** 2 if z < tuning else 0.0
                weights[i] = base[i] * w
        for j in range(p):
            b[j] = 0.0
            for k in range(p):
                a[j, k] = 0.0
        for i in range(n):
            w = weights[i]
            if w > 0.0:
                for j in range(p):
                    wx = w * x[i, j]
                    b[j] += wx * y[i]
                    for k in range(j + 1):
                        a[j, k] += wx * x[i, k]
        for j in range(p):
            a[j, j] += scale * scale * precision[j]
            b[j] += scale * scale * precision[j] * mean[j]
        solve_positive(a, b, new)
        moved = 0.0
        for j in range(p):
            moved = max(moved, abs(new[j] - beta[j]) / (1.0 + abs(new[j])))
            beta[j] = new[j]
        if step > 0 and moved < tolerance:
            break
    return float(scale)


@kernel
def fit_many(
    start: Ints, x: Floats, y: Floats, kind: int, tuning: float, tolerance: float, steps: int
) -> tuple[Floats, Floats, Floats]:
    """Robust fits of many series that lie one after another; series s is rows ``start[s]`` to ``start[s + 1]``.

    Returns coefficients (series, p), scales (series) and weights (rows). Equal to ``statsmodels`` ``RLM`` with the
    same norm and its default scale estimate.
    """
    count, p = start.size - 1, x.shape[1]
    beta = np.zeros((count, p))
    scale = np.zeros(count)
    weights = np.ones(y.size)
    base = np.ones(y.size)
    none = np.zeros(p)
    for s in range(count):
        lo, hi = start[s], start[s + 1]
        if hi > lo:
            scale[s] = irls(
                x[lo:hi], y[lo:hi], base[lo:hi], none, none, 0.0, kind, tuning, tolerance, steps, beta[s],
                weights[lo:hi], True,
            )  # fmt: skip
    return beta, scale, weights
