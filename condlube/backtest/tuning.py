"""Whether the record has anything to say about the weights, and what: fit, held-out check, and the decision to move.

Bearings are split in groups, so that no bearing is fitted to and judged; the strength of the pull to the policy in
force is chosen inside each fit by a further split. A second check fits to the earlier part of the time and judges the
later.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from condlube.assessment.sources import OTHERS, FloatArray, IntArray
from condlube.backtest import bootstrap
from condlube.backtest.fit import Fitted, Nights, among, fit, log_loss
from condlube.backtest.judge import Judged
from condlube.backtest.propose import with_weights
from condlube.backtest.replay import VALUES
from condlube.backtest.search import positions, stretched
from condlube.policy.model import Policy
from condlube.schema.words import STATES

EPISODES_MIN = 10
"""A state whose weights may move has so many failures, findings or needed greasings on record (ten events per
parameter are the rule of thumb for an unpenalised fit; here the pull to the policy carries the rest)."""
PULLS = (0.3, 1.0)
"""Standard deviations, in bits, of the prior around the policy in force, of which one is chosen."""
FOLDS, INNER_FOLDS = 4, 2
EARLIER = 2 / 3
"""Share of the time that the check by time fits to."""
NIGHTS_PER_DRAW = 7
"""Nights of one bearing so close together count as one observation."""


class Compared(NamedTuple):
    """A figure of the policy in force and of the tuned one on the same nights; lower is better. ``gain`` is in force
    minus tuned, with its interval over bearings."""

    in_force: float
    tuned: float
    gain: bootstrap.Interval


@dataclass(frozen=True)
class Tuned:
    """What fitting found; ``base`` is the policy in force, and ``policy`` too where ``why_not`` says why nothing moves.

    ``fitted`` is -ln of the probability of the state on record, on the nights fitted to; ``by_bearing`` the same on
    bearings, ``by_time`` on later nights, that were not fitted to. ``folds`` holds for each fold the bearings held out
    and the policy fitted without. ``frequency`` is how many times as often each moved state is on record as its prior
    says: far from 1, the fit bends the curves to make up for a prior that is not this plant's.
    """

    base: Policy
    episodes: dict[str, int]
    moved: tuple[str, ...]
    why_not: str
    policy: Policy
    fit: Fitted | None
    fitted: Compared | None
    by_bearing: Compared | None
    by_time: Compared | None
    frequency: dict[str, float]
    folds: tuple[tuple[IntArray, Policy], ...]


def episodes_of(judged: Judged) -> dict[str, int]:
    """Distinct records of each state that could be fitted."""
    told = (judged.state > 0) & (judged.episode >= 0)
    pairs = {(int(s), int(e)) for s, e in zip(judged.state[told], judged.episode[told], strict=True)}
    found = Counter(STATES[s] for s, _ in pairs)
    return {state: found[state] for state in OTHERS}


def nights_of(judged: Judged, decisions: pd.DataFrame, moved: tuple[str, ...]) -> tuple[Nights, IntArray]:
    """Nights whose state is on record, adequate or one of ``moved``, with their days.

    Adequate nights are thinned to one in ``NIGHTS_PER_DRAW`` days; the others are all taken, with less weight.
    """
    step = judged.grid.step_d
    wanted = np.isin(judged.state, [STATES.index(s) for s in moved])
    every = max(NIGHTS_PER_DRAW // step, 1)
    thinned = np.zeros_like(wanted)
    thinned[:, ::every] = True
    which, night = np.nonzero(wanted | ((judged.state == 0) & thinned))
    row = judged.grid.row[which, night]
    prior = decisions[[f"prior_{s}" for s in STATES]].to_numpy(dtype=np.float64)[row]
    values = decisions[list(VALUES)].to_numpy(dtype=np.float64)[row]
    state = judged.state[which, night]
    weight = np.where(state > 0, min(step / NIGHTS_PER_DRAW, 1.0), 1.0)
    known = ~np.isnan(prior).any(axis=1)
    bits = among(np.log2(prior[known, 1:] / prior[known, :1]), moved)
    nights = Nights(bits, np.ascontiguousarray(values[known]), state[known], weight[known], which[known])
    return nights, judged.grid.day[night[known]]


def tune_weights(judged: Judged, decisions: pd.DataFrame, policy: Policy, rng: np.random.Generator) -> Tuned:
    """Fit the weights and say whether they may move."""
    episodes = episodes_of(judged)
    moved = tuple(state for state, count in episodes.items() if count >= EPISODES_MIN)
    stay = Tuned(policy, episodes, moved, "", policy, None, None, None, None, {}, ())
    if not moved:
        said = ", ".join(f"{state} {count}" for state, count in episodes.items() if count) or "none"
        return _kept(stay, f"too few failures, findings and needed greasings to move anything: {said}; "
                           f"{EPISODES_MIN} of one state are needed")  # fmt: skip
    nights, day = nights_of(judged, decisions, moved)
    return tune_nights(stay, nights, day, policy, rng)


def tune_nights(stay: Tuned, nights: Nights, day: IntArray, policy: Policy, rng: np.random.Generator) -> Tuned:
    """The same from nights and their days. Many small products: one thread is faster than several."""
    with threadpool_limits(1, user_api="blas"):
        return _tuned(stay, nights, day, policy, rng)


def _tuned(stay: Tuned, nights: Nights, day: IntArray, policy: Policy, rng: np.random.Generator) -> Tuned:
    count = int(nights.group.max()) + 1
    drawn = bootstrap.weights(count, rng)
    if len(np.unique(nights.group[nights.state > 0])) < FOLDS:
        return _kept(stay, f"the failures on record are of fewer than {FOLDS} bearings: none could be held out")
    held, folds = np.zeros(len(nights.state)), []
    for inside, outside in _groups(nights, FOLDS):
        _, tuned = _fit(nights.take(inside), policy, stay.moved)
        held[outside] = log_loss(nights.take(outside), tuned)
        folds.append((np.unique(nights.group[outside]), tuned))
    by_bearing = _compared(nights, log_loss(nights, policy), held, drawn)
    by_time = _later(nights, day, policy, stay.moved, drawn)
    final, proposed = _fit(nights, policy, stay.moved)
    fitted = _compared(nights, log_loss(nights, policy), log_loss(nights, proposed), drawn)
    made = Tuned(
        policy, stay.episodes, stay.moved, "", proposed, final, fitted, by_bearing, by_time,
        frequency(nights, stay.moved), tuple(folds),
    )  # fmt: skip
    if not by_bearing.gain.low > 0:
        return _kept(made, "on bearings that were not fitted to, the tuned weights are not surely better", policy)
    if by_time is not None and by_time.gain.high < 0:
        return _kept(made, "on later nights the tuned weights are surely worse", policy)
    return made


def frequency(nights: Nights, moved: tuple[str, ...]) -> dict[str, float]:
    """How many times as often each state is on record as its prior says."""
    odds = np.exp2(np.column_stack([np.zeros(len(nights.state)), nights.prior_bits]))
    prior = nights.weight @ (odds / odds.sum(axis=1)[:, None])
    return {s: float(nights.weight @ (nights.state == STATES.index(s)) / prior[STATES.index(s)]) for s in moved}


def _kept(tuned: Tuned, why: str, policy: Policy | None = None) -> Tuned:
    return Tuned(**{**vars(tuned), "why_not": why, "policy": tuned.policy if policy is None else policy})


def _fit(nights: Nights, policy: Policy, moved: tuple[str, ...]) -> tuple[Fitted, Policy]:
    """Fit with the pull that did best on bearings held out inside, then with the anchors where they did best there."""
    folds = _groups(nights, INNER_FOLDS)
    tried: dict[float, list[tuple[Nights, Policy]]] = {}
    for pull in PULLS:
        tried[pull] = [
            (nights.take(outside), with_weights(policy, fit(nights.take(inside), policy, moved, pull)))
            for inside, outside in folds
        ]
    lost = {pull: sum(float(part.weight @ log_loss(part, made)) for part, made in own) for pull, own in tried.items()}
    best = min(lost, key=lambda pull: lost[pull])
    fitted = fit(nights, policy, moved, best)
    return fitted, stretched(with_weights(policy, fitted), positions(tried[best], moved))


def _groups(nights: Nights, folds: int) -> list[tuple[IntArray, IntArray]]:
    """Splits by bearing in which every fold has its share of those with anything on record."""
    from sklearn.model_selection import StratifiedGroupKFold

    split = StratifiedGroupKFold(folds).split(nights.values, nights.state > 0, nights.group)
    return [(np.asarray(a, dtype=np.int64), np.asarray(b, dtype=np.int64)) for a, b in split]


def _later(nights: Nights, day: IntArray, policy: Policy, moved: tuple[str, ...], drawn: FloatArray) -> Compared | None:
    """Fitted to the earlier nights, judged on the later; None where either has nothing on record."""
    early = day < np.quantile(day, EARLIER)
    sick = nights.state > 0
    if min(len(np.unique(nights.group[sick & early])), int((sick & ~early).sum())) < INNER_FOLDS:
        return None
    past, later = nights.take(np.flatnonzero(early)), nights.take(np.flatnonzero(~early))
    _, tuned = _fit(past, policy, moved)
    return _compared(later, log_loss(later, policy), log_loss(later, tuned), drawn)


def _compared(nights: Nights, before: FloatArray, after: FloatArray, drawn: FloatArray) -> Compared:
    count = drawn.shape[1]
    total = np.bincount(nights.group, weights=nights.weight, minlength=count).astype(np.float64)
    gain = np.bincount(nights.group, weights=nights.weight * (before - after), minlength=count).astype(np.float64)
    mean = [float(nights.weight @ loss / nights.weight.sum()) for loss in (before, after)]
    return Compared(mean[0], mean[1], bootstrap.ratio(gain, total, drawn))
