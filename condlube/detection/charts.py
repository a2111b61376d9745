"""Control charts: EWMA and CUSUM with limits from a stated in-control run length, for autocorrelated nights.

References: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4; run lengths by the Markov chain of
Brook and Evans (Biometrika 59 (1972) 539). For AR(1) nights with correlation r the EWMA limit is widened by its exact
standard deviation, sqrt((1 + r (1 - a))/(1 - r (1 - a))), the CUSUM by the long-run one, sqrt((1 + r)/(1 - r)).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from itertools import accumulate

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from condlube.manipulation.kernel import Bools, Floats, Ints, kernel

_OVER = 2.0  # a CUSUM over its limit grows no further than this, so that it comes back soon after the level does
_CLIP = 4.0  # a single night counts at most so many spreads, so that no single night signals by itself


def ewma_run_length(weight: float, limit: float, two_sided: bool = False, states: int = 201) -> float:
    """In-control average run length of an EWMA chart of independent standard normal values.

    ``limit`` is in asymptotic standard deviations of the EWMA. The one-sided chart never falls under 0.
    """
    top = limit * np.sqrt(weight / (2 - weight))
    if two_sided:
        width = 2 * top / states
        middle = -top + width * (np.arange(states) + 0.5)
        edges = -top + width * np.arange(states + 1)
        z = (edges[None, :] - (1 - weight) * middle[:, None]) / weight
        inside = np.diff(ndtr(z), axis=1)
        start = states // 2
    else:
        inside, start = _reflected(lambda state, edge: ndtr((edge - (1 - weight) * state) / weight), top, states)
    return float(np.linalg.solve(np.eye(states) - inside, np.ones(states))[start])


def cusum_run_length(k: float, h: float, shift: float = 0.0, states: int = 201) -> float:
    """Average run length of a one-sided CUSUM of independent normal values with the given mean shift."""
    inside, start = _reflected(lambda state, edge: ndtr(edge - state + k - shift), h, states)
    return float(np.linalg.solve(np.eye(states) - inside, np.ones(states))[start])


def _reflected(below: Callable[[Floats, Floats], Floats], top: float, states: int) -> tuple[Floats, int]:
    """Transition matrix of a chart that is held at 0, and its first state, the interval around 0."""
    width = 2 * top / (2 * states - 1)
    state = np.asarray(width * np.arange(states), dtype=np.float64)
    upper = np.asarray(state + width / 2, dtype=np.float64)
    cumulative = below(state[:, None], upper[None, :])
    inside = np.diff(cumulative, axis=1, prepend=0.0)
    return inside, 0


@lru_cache(maxsize=32)
def limits(weight: float, k: float, run_length: float) -> tuple[float, float]:
    """EWMA limit (asymptotic standard deviations, one-sided) and CUSUM limit h for an in-control run length."""
    return _limit(partial(ewma_run_length, weight), run_length), _limit(partial(cusum_run_length, k), run_length)


def _limit(length_at: Callable[[float], float], run_length: float) -> float:
    low, high = 0.01, 1.0
    while length_at(high) < run_length:
        low, high = high, 1.5 * high
    return float(brentq(lambda v: length_at(v) - run_length, low, high, xtol=1e-6))


def ewma(values: Floats, weight: float, start: float) -> Floats:
    """Exponentially weighted moving average of a series."""
    return np.array(list(accumulate(values, lambda level, v: weight * v + (1.0 - weight) * level, initial=start))[1:])


def cusum(values: Floats, target: float, k: float) -> tuple[Floats, Floats]:
    """Upper and lower one-sided CUSUM of a series, in its own units."""
    up, down = (
        np.array(list(accumulate(side * (values - target), lambda level, v: max(0.0, level + v - k), initial=0.0))[1:])
        for side in (1.0, -1.0)
    )
    return up, down


def signals(
    lo: Ints, hi: Ints, residual: Floats, spread: Floats, allowance: Floats, correlation: Floats, weight: float,
    limit: float, k: float, h: float,
) -> Bools:  # fmt: skip
    """Whether either upper chart signals on the last night of each series.

    Values are residuals less ``allowance`` (what the expected level itself may be wrong) in spreads.
    """
    late = correlation * (1.0 - weight)
    top = limit * np.sqrt(weight / (2.0 - weight) * (1.0 + late) / (1.0 - late))
    scale = np.sqrt((1.0 + correlation) / (1.0 - correlation))
    return _signals(lo, hi, residual, spread, allowance, scale, top, weight, k, h)


@kernel
def _signals(
    lo: Ints, hi: Ints, residual: Floats, spread: Floats, allowance: Floats, scale: Floats, top: Floats, weight: float,
    k: float, h: float,
) -> Bools:  # fmt: skip
    made = np.zeros(len(lo), dtype=np.bool_)
    for i in range(len(lo)):
        level, high = 0.0, 0.0
        for row in range(lo[i], hi[i]):
            z = min(max((residual[row] - allowance[i]) / spread[i], -_CLIP), _CLIP)
            level = max(0.0, weight * z + (1.0 - weight) * level)
            high = min(max(0.0, high + z / scale[i] - k), h + _OVER)
        made[i] = level > top[i] or high > h
    return made
