"""Robust linear regression of many small series at once: iteratively reweighted least squares.

Compiled loops over the rows and over the small systems, the same operations in the same order for each. No BLAS: the
same numbers on every machine and in any batch.
"""

from __future__ import annotations

import math

import numpy as np

from condlube.manipulation.kernel import Floats, Ints, kernel, median

HUBER, TUKEY = 0, 1
HUBER_TUNING, TUKEY_TUNING = 1.345, 4.685  # 95 % efficiency for normal errors (Huber 1981; Beaton and Tukey 1974)
MAD_TO_SD = 0.6744897501960817  # 75 % quantile of the standard normal distribution


@kernel
def solve_positive(a: Floats, b: Floats) -> Floats:
    """Solve ``a x = b`` for many positive semidefinite ``a`` (t, p, p) and ``b`` (t, p, k), by Cholesky's method.

    A direction without information gets coefficient 0.
    """
    systems, p, sides = b.shape
    root = np.empty((p, p))
    x = np.empty_like(b)
    for t in range(systems):
        for j in range(p):
            for i in range(j, p):
                root[i, j] = a[t, i, j]
                for k in range(j):
                    root[i, j] -= root[i, k] * root[j, k]
            if root[j, j] > 1e-12 * a[t, j, j]:
                root[j, j] = math.sqrt(root[j, j])
                for i in range(j + 1, p):
                    root[i, j] /= root[j, j]
            else:
                root[j:, j] = 0.0
        for side in range(sides):
            for i in range(p):
                value = b[t, i, side]
                for k in range(i):
                    value -= root[i, k] * x[t, k, side]
                x[t, i, side] = value / root[i, i] if root[i, i] > 0.0 else 0.0
            for i in range(p - 1, -1, -1):
                value = x[t, i, side]
                for k in range(i + 1, p):
                    value -= root[k, i] * x[t, k, side]
                x[t, i, side] = value / root[i, i] if root[i, i] > 0.0 else 0.0
    return x


@kernel
def weigh(
    series: Ints, start: Ints, x: Floats, y: Floats, base: Floats, size: Ints, beta: Floats, floor: Floats, kind: int,
    tuning: float, scale: Floats, weights: Floats, rank: Floats, a: Floats, b: Floats,
) -> None:  # fmt: skip
    """One step for some series: residual scale, weights of their rows, and the normal equations ``a``, ``b``.

    The median of the absolute residuals is selected in ``rank`` (Hoare's method), which is overwritten.
    """
    for m in range(series.size):
        s = series[m]
        first = start[s]
        n = start[s + 1] - first
        p = size[s]
        for i in range(n):
            residual = y[first + i]
            for j in range(p):
                residual -= x[first + i, j] * beta[s, j]
            weights[first + i] = abs(residual)
            rank[i] = weights[first + i]
        width = max(median(rank, n) / MAD_TO_SD, floor[s])
        scale[s] = width
        for i in range(first, first + n):
            z = weights[i] / width if width > 0.0 else 0.0
            if kind == HUBER:
                w = base[i] * (1.0 if z <= tuning else tuning / z)
            else:
                w = base[i] * ((1.0 - (z / tuning) ** 2) ** 2 if z < tuning else 0.0)
            weights[i] = w
            for j in range(p):
                wx = w * x[i, j]
                b[m, j] += wx * y[i]
                for k in range(j + 1):
                    a[m, j, k] += wx * x[i, k]


def irls(
    start: Ints, x: Floats, y: Floats, base: Floats, size: Ints, mean: Floats, precision: Floats, floor: Floats,
    beta: Floats, weights: Floats, kind: int, tuning: float, tolerance: float, steps: int,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Robust fits of many series that lie one after another; returns residual scales and information matrices X'WX.

    Series s is rows ``start[s]`` to ``start[s + 1]`` (at least one) and has the first ``size[s]`` columns of ``x``.
    Minimises sum base·rho(r/s) + s-scaled Gaussian prior (``mean``, ``precision`` per coefficient; 0: no prior), with s
    the median absolute residual over 0.6745, never under ``floor``. Starts at ``beta`` (series, p), which is
    overwritten by the coefficients, as ``weights`` by the weights of the rows. Of the information only the lower
    triangle is filled.
    """
    count, p = beta.shape
    scale = floor.astype(float)
    information = np.zeros((count, p, p))
    rank = np.empty(int(np.diff(start).max(initial=1)))
    diagonal = np.arange(p)
    going = np.arange(count)
    for step in range(steps):
        a, b = np.zeros((len(going), p, p)), np.zeros((len(going), p))
        weigh(going, start, x, y, base, size, beta, floor, kind, tuning, scale, weights, rank, a, b)
        information[going] = a
        prior = (scale[going] ** 2)[:, None] * precision[going]
        a[:, diagonal, diagonal] += prior
        b += prior * mean[going]
        new = solve_positive(a, b[:, :, None])[:, :, 0]
        moved = (np.abs(new - beta[going]) / (1.0 + np.abs(new))).max(axis=1)
        beta[going] = new
        if step > 0:
            going = going[moved >= tolerance]
        if not len(going):
            break
    return scale, information
