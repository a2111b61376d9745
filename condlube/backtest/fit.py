"""Joint fit of the weights to nights whose state the record tells.

The odds of state s on a night are its prior odds times 2 to the power of X_s w_s: the columns of X are the hat
functions of the anchors (1 at an anchor, 0 at its neighbours), the parameters w the bits at the anchors. All sources
are fitted at once by multinomial logistic regression, so that what two sensors share is counted once. Every parameter
is drawn to the policy in force by a normal prior of standard deviation ``sd_bits``; the order of neighbouring anchors
is kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.linalg import block_diag
from scipy.optimize import minimize

from condlube.assessment import kernel
from condlube.assessment.sources import FINDINGS, OTHERS, POSITION, SOURCES, FloatArray, IntArray, curve, tables
from condlube.policy.model import Policy

Bounds = list[tuple[float | None, float | None]]
LN2 = float(np.log(2.0))
NEVER_BITS = -900.0
CURVES = ("ultrasound", "acceleration", "impulsiveness", "velocity", "temperature", "growth", "collector_share")
"""Sources with ordered anchors; the others have classes, whose order means nothing."""
FITTED = tuple(source for source in SOURCES if source not in FINDINGS)
"""Findings are people's words and left to the policy."""
_VIBRATION = ("ultrasound", "acceleration", "impulsiveness", "velocity")


class Column(NamedTuple):
    """One parameter: the bits of a source at one of its anchors."""

    source: str
    anchor: int


class Nights(NamedTuple):
    """Nights to fit to: prior odds in bits [n, states but adequate], values [n, sources], state, weight, group.

    The prior odds are ``among`` the states that a night of this kind can be on record as.
    """

    prior_bits: FloatArray
    values: FloatArray
    state: IntArray
    weight: FloatArray
    group: IntArray

    def take(self, at: IntArray) -> Nights:
        """Some of the nights."""
        return Nights(self.prior_bits[at], self.values[at], self.state[at], self.weight[at], self.group[at])


def among(prior_bits: FloatArray, states: tuple[str, ...]) -> FloatArray:
    """Prior odds given that the state is adequate or one of ``states``: nights on record as another are not there."""
    kept = np.isin(np.array(OTHERS), states)
    return np.where(kept, prior_bits, NEVER_BITS)


@dataclass(frozen=True)
class Fitted:
    """Bits at the anchors of the ``moved`` states [moved states, columns], and their standard errors."""

    moved: tuple[str, ...]
    columns: tuple[Column, ...]
    bits: FloatArray
    standard_error: FloatArray
    sd_bits: float


def columns_of(policy: Policy) -> tuple[Column, ...]:
    """The parameters of one state, in order."""
    return tuple(Column(s, k) for s in FITTED for k in range(len(curve(policy, s)[0])))


def bits_of(policy: Policy, columns: tuple[Column, ...]) -> FloatArray:
    """Bits of a policy [states but adequate, columns]."""
    weights = tables(policy).weights
    return np.stack([weights[POSITION[c.source], c.anchor] for c in columns], axis=1)


def design(values: FloatArray, policy: Policy) -> FloatArray:
    """Hat functions as counted [states but adequate, n, columns]: their product with the bits of the policy is what the
    nightly run weighs, shared information and fast growth included.
    """
    table = tables(policy)
    hats = [_hats(values[:, POSITION[s]], np.array(curve(policy, s)[0])) for s in FITTED]
    bits = bits_of(policy, columns_of(policy))
    start = np.cumsum([0, *(h.shape[1] for h in hats)])
    fast = values[:, POSITION["growth"]] > table.growth_from
    made = np.empty((len(OTHERS), len(values), int(start[-1])))
    for state in range(len(OTHERS)):
        counted = {s: hats[k] @ bits[state, start[k] : start[k + 1]] for k, s in enumerate(FITTED)}
        share = {s: np.where(fast & (counted[s] < 0), 0.0, 1.0) for s in _VIBRATION}
        one, other = (np.abs(counted[s] * share[s]) for s in ("ultrasound", "acceleration"))
        both = ~np.isnan(values[:, POSITION["ultrasound"]]) & ~np.isnan(values[:, POSITION["acceleration"]])
        share["acceleration"] = np.where(both & (one >= other), table.shared_share, 1.0) * share["acceleration"]
        share["ultrasound"] = np.where(both & (one < other), table.shared_share, 1.0) * share["ultrasound"]
        for k, s in enumerate(FITTED):
            made[state, :, start[k] : start[k + 1]] = hats[k] * share.get(s, np.ones(len(values)))[:, None]
    return made


def _hats(values: FloatArray, anchors: FloatArray) -> FloatArray:
    """Hat functions of the anchors at the values, constant beyond the ends; all 0 where there is no value."""
    there = ~np.isnan(values)
    made = np.zeros((len(values), len(anchors)))
    inside = np.clip(values[there], anchors[0], anchors[-1])
    k = np.clip(np.searchsorted(anchors, inside, side="right") - 1, 0, max(len(anchors) - 2, 0))
    rows = np.flatnonzero(there)
    if len(anchors) == 1:
        made[rows, 0] = 1.0
        return made
    share = (inside - anchors[k]) / (anchors[k + 1] - anchors[k])
    made[rows, k] = 1.0 - share
    made[rows, k + 1] += share
    return made


def fit(nights: Nights, policy: Policy, moved: tuple[str, ...], sd_bits: float) -> Fitted:
    """Fit the weights of the states ``moved``; those of the others stay as in the policy in force."""
    columns = columns_of(policy)
    x, start = design(nights.values, policy), bits_of(policy, columns)
    which = np.array([OTHERS.index(s) for s in moved], dtype=np.int64)
    steps, bounds = _steps(columns, start[which])
    fixed = nights.prior_bits + np.einsum("snk,sk->ns", x, start) + _findings(nights.values, policy)
    truth = (nights.state[:, None] == 1 + np.arange(len(OTHERS))).astype(np.float64)

    def loss(v: FloatArray) -> tuple[float, FloatArray]:
        delta = (v.reshape(len(which), -1) @ steps.T) - start[which]
        bits = fixed.copy()
        for j, s in enumerate(which):
            bits[:, s] += x[s] @ delta[j]
        log_odds = LN2 * bits
        top = np.maximum(log_odds.max(axis=1), 0.0)
        odds = np.exp(log_odds - top[:, None])
        whole = np.exp(-top) + odds.sum(axis=1)
        said = np.log(whole) + top - (truth * log_odds).sum(axis=1)
        wrong = nights.weight[:, None] * (odds / whole[:, None] - truth)
        slope = np.stack([LN2 * (wrong[:, s] @ x[s]) for s in which]) + delta / sd_bits**2
        penalty = 0.5 * float((delta**2).sum()) / sd_bits**2
        return float(nights.weight @ said) + penalty, (slope @ steps).ravel()

    begin = np.linalg.solve(steps, start[which].T).T.ravel()
    found = minimize(loss, begin, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 500})
    made = found.x.reshape(len(which), -1) @ steps.T
    return Fitted(moved, columns, made, _errors(nights, x, fixed, start, made, which, sd_bits), sd_bits)


def log_loss(nights: Nights, policy: Policy) -> FloatArray:
    """-ln of the probability that a policy gave to the state on record [n]."""
    prior = _probabilities(nights.prior_bits)
    odds = kernel.weighed_all(prior, nights.values, tables(policy))
    return np.asarray(-np.log(np.maximum(odds[np.arange(len(odds)), nights.state], 1e-300)))


def _probabilities(bits: FloatArray) -> FloatArray:
    odds = np.exp2(np.column_stack([np.zeros(len(bits)), bits]))
    return np.ascontiguousarray(odds / odds.sum(axis=1)[:, None])


def _findings(values: FloatArray, policy: Policy) -> FloatArray:
    """Bits of recorded findings [n, states but adequate]."""
    alone = np.full_like(values, np.nan)
    at = [POSITION[s] for s in FINDINGS]
    alone[:, at] = values[:, at]
    return np.asarray(kernel.weigh_all(alone, tables(policy)).sum(axis=1))


def _steps(columns: tuple[Column, ...], start: FloatArray) -> tuple[FloatArray, Bounds]:
    """Bits as sums of steps from the first anchor of each curve, and the bounds that keep the sign of each step."""
    sizes = [sum(c.source == s for c in columns) for s in FITTED]
    blocks = [np.tril(np.ones((n, n))) if s in CURVES else np.eye(n) for s, n in zip(FITTED, sizes, strict=True)]
    bounds: Bounds = []
    for row in start:
        for k, column in enumerate(columns):
            rise = row[k] - row[k - 1] if column.anchor and column.source in CURVES else 0.0
            bounds.append((0.0 if rise > 0 else None, 0.0 if rise < 0 else None))
    return block_diag(*blocks), bounds


def _errors(
    nights: Nights, x: FloatArray, fixed: FloatArray, start: FloatArray, made: FloatArray, which: IntArray, sd: float
) -> FloatArray:
    """Standard errors of the bits by the curvature of the penalised likelihood; the order of anchors is left out."""
    bits = fixed.copy()
    for j, s in enumerate(which):
        bits[:, s] += x[s] @ (made[j] - start[s])
    p = _probabilities(bits)[:, 1 + which]
    count = made.shape[1]
    curvature = np.eye(len(which) * count) / sd**2
    for a, s in enumerate(which):
        for b, t in enumerate(which):
            w = LN2**2 * nights.weight * p[:, a] * ((a == b) - p[:, b])
            curvature[a * count : (a + 1) * count, b * count : (b + 1) * count] += (x[s] * w[:, None]).T @ x[t]
    return np.sqrt(np.diag(np.linalg.inv(curvature))).reshape(made.shape)
