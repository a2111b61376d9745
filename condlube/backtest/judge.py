"""A replay judged: outcomes and scores of the policy's calls, and of the nulls, on the same nights and record."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from condlube.assessment.greasings import doses
from condlube.assessment.sources import FloatArray, IntArray
from condlube.backtest import bootstrap
from condlube.backtest.calibration import Calibration, calibration
from condlube.backtest.labels import labels, seen_by
from condlube.backtest.leads import Leads, leads
from condlube.backtest.matters import Grid, calls_of, grid_of, positions_of
from condlube.backtest.nulls import SEEN, null_calls, number
from condlube.backtest.outcomes import Windows, outcomes
from condlube.backtest.record import Record, record_of
from condlube.backtest.replay import BESIDE
from condlube.backtest.scores import Score, saved, scores
from condlube.chain import Plant
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

POLICY = "policy"
JUDGED = (
    "bearing_id", "night", "call", "cost_call", "guards", "x", "interval_h", "failed",
    *(f"cost_{action}" for action in ACTIONS), "p_adequate", *SEEN,
)  # fmt: skip
"""Columns of replayed decisions that a judgement needs."""
DECIDED = tuple(dict.fromkeys((*JUDGED, "days_since_greasing", *(f"prior_{state}" for state in STATES), *BESIDE)))
"""The same and what a trial of other weights needs."""
ANSWERS = ("bearing_id", "quantity", "night", "status", "deviation", "response", "response_to")
"""Columns of the deviations that a judgement needs."""


@dataclass(frozen=True)
class Judged:
    """What came of a replay. ``scores`` and ``leads`` are by who called: ``POLICY`` or the name of a null.

    ``saved`` is how much more each null costs per bearing-year than the policy, ``failure_cost`` what a failure costs
    that nobody is warned of in time.
    """

    grid: Grid
    record: Record
    windows: Windows
    calls: IntArray
    state: IntArray
    episode: IntArray
    outcomes: pd.DataFrame
    scores: dict[str, dict[str, Score]]
    leads: dict[str, Leads]
    saved: dict[str, bootstrap.Interval]
    failure_cost: float
    calibration: Calibration | None
    recorded_g: bootstrap.Interval
    put_off_g: bootstrap.Interval
    time_only_g: bootstrap.Interval


def judge(
    plant: Plant, decisions: pd.DataFrame, answers: pd.DataFrame, events: pd.DataFrame, reviews: pd.DataFrame,
    policy: Policy, windows: Windows, rng: np.random.Generator,
) -> Judged:  # fmt: skip
    """Judge a replay.

    Parameters
    ----------
    decisions
        Replayed decisions, columns ``JUDGED`` or more.
    answers
        Deviations of the replay, columns ``ANSWERS``.
    events
        The record as it stands today, corrections in place of what they correct.
    reviews
        Verdicts, as the schema has them.
    """
    grid = grid_of(decisions)
    said, by_cost = (positions_of(decisions[column]) for column in ("call", "cost_call"))
    calls, x = calls_of(grid, said, by_cost, decisions["guards"]), number(grid, decisions, "x")
    raised = {name: policy.detection.response_raised.of(name) for name in ("ultrasound", "acceleration")}
    record = record_of(plant, events, grid, answers, raised)
    drawn = bootstrap.weights(len(grid.bearing_ids), rng)
    dose = pd.Series(doses(plant.bearings), index=plant.bearings["bearing_id"])
    greasable = plant.bearings.set_index("bearing_id")["seal"] != "sealed"
    dose_g = dose.where(greasable).reindex(list(grid.bearing_ids)).to_numpy(dtype=np.float64)
    windows = replace(windows, gap_d=max(windows.gap_d, grid.step_d))
    found, scored, led = {}, {}, {}
    for name, own in {POLICY: calls, **null_calls(grid, decisions, calls)}.items():
        found[name] = outcomes(grid, own, x, record, windows)
        scored[name] = scores(grid, found[name], dose_g, policy, drawn)
        led[name] = leads(found[name])
    state, episode = labels(grid, record, windows, seen_by(grid, reviews))
    not_adequate = 1.0 - number(grid, decisions, "p_adequate")
    given, put_off = _given(grid, calls, record, dose_g)
    programme = _programme(grid, plant, number(grid, decisions, "interval_h"), dose_g)
    more = {name: saved(scored[POLICY]["cost"], own["cost"], drawn) for name, own in scored.items() if name != POLICY}
    return Judged(
        grid, record, windows, calls, state, episode, found[POLICY], scored, led, more, policy.cost.hold.damaged,
        calibration(not_adequate.ravel(), state.ravel()),
        *(bootstrap.ratio(grams, grid.years, drawn) for grams in (given, put_off, programme * grid.years)),
    )  # fmt: skip


def _given(grid: Grid, calls: IntArray, record: Record, dose_g: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Grams on record per bearing, and those of greasings that the policy would have put off (hold) and that proved
    needless; a dose where nobody wrote how much."""
    rows = record.greasings
    rows = rows[(rows["day"] > record.first) & (rows["day"] <= record.last + 1)]
    which = rows["which"].to_numpy(dtype=np.int64)
    grams = rows["grease_g"].to_numpy(dtype=np.float64, na_value=np.nan)
    grams = np.nan_to_num(np.where(np.isnan(grams), dose_g[which], grams))
    night = np.searchsorted(grid.day, rows["day"].to_numpy(dtype=np.int64)) - 1
    needless = (calls[which, night] == 1) & (rows["answer"] == "unknown").to_numpy() & rows["quiet"].to_numpy()
    count = len(grid.bearing_ids)
    return (
        np.bincount(which, weights=grams, minlength=count).astype(np.float64),
        np.bincount(which[needless], weights=grams[needless], minlength=count).astype(np.float64),
    )


def _programme(grid: Grid, plant: Plant, interval_h: FloatArray, dose_g: FloatArray) -> FloatArray:
    """Grams a year of each bearing when a dose is given whenever the mean interval is used up; 0 without interval."""
    share = plant.bearings.set_index("bearing_id")["running_share"].reindex(list(grid.bearing_ids))
    there = interval_h > 0
    mean_h = np.where(there, interval_h, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    per_year = np.where(mean_h > 0, share.to_numpy(dtype=np.float64) * 365.25 * 24 / np.maximum(mean_h, 1.0), 0.0)
    return np.asarray(np.nan_to_num(dose_g) * per_year)
