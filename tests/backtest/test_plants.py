"""Tuning on simulated plants with faults of known kind: what is proposed holds on bearings that it was not fitted to.

Forty bearings over a year, half of which spall; calls every fifth night. Intervals are those of the report, 90 %.
"""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest

from condlube.backtest.judge import judge
from condlube.backtest.outcomes import Windows
from condlube.backtest.proposal import Proposal, propose
from condlube.backtest.replay import Span
from condlube.backtest.seen import events_seen

FAULTS = {"spalling_per_year": 0.5, "unbalance_per_year": 0.4}
END = datetime(2025, 1, 1, tzinfo=UTC)
SEEDS, LONG_SEEDS = range(1, 4), range(1, 21)


def proposed(seed, fleet, compared, policy) -> Proposal:
    plant, held = fleet(seed, 40, 1.0, **FAULTS)
    span = Span.of(date(2023, 2, 1), date(2023, 12, 30), plant, run_hour=6, every=5)
    decisions, found = compared(plant, held, span, policy)
    events = events_seen(held.events, END, END)
    judged = judge(plant, decisions, found, events, held.reviews, policy, Windows(), np.random.default_rng(1))
    return propose(judged, decisions, plant, policy, np.random.default_rng(2))


def holds(proposals: list[Proposal], moving: int, better: int) -> None:
    """At least ``moving`` plants have enough on record to move. Where the policy moves it is never surely worse on
    bearings held out than the one in force, better over all, and surely better on ``better`` plants; on every plant it
    is surely cheaper than time alone and than fixed alarms."""
    more = [own.saves["in force"] for own in proposals if own.policy is not own.found.base]
    assert len(more) >= moving
    assert all(interval.high >= 0 for interval in more)
    assert sum(interval.value for interval in more) > 0
    assert sum(interval.low > 0 for interval in more) >= better
    for null in ("time only", "fixed alarms"):
        assert all(own.saves[null].low > 0 for own in proposals)


@pytest.fixture(scope="module")
def few(fleet, compared, policy):
    return [proposed(seed, fleet, compared, policy) for seed in SEEDS]


def test_tuned_is_never_surely_worse_on_bearings_held_out(few):
    holds(few, moving=3, better=1)


def test_only_what_is_on_record_moves(few):
    """Spalling fills the record; what is starved, overfilled or out of balance is hardly on it, and stays."""
    for own in few:
        assert own.found.moved == ("damaged",)
        before, after = own.found.base.weights.ultrasound, own.policy.weights.ultrasound
        assert (after.starved, after.at) == (before.starved, before.at)
        assert after.damaged != before.damaged
        assert own.policy.cost == own.found.base.cost
        assert own.policy.prior == own.found.base.prior


@pytest.mark.long
def test_tuned_is_never_surely_worse_on_twenty_plants(fleet, compared, policy):
    holds([proposed(seed, fleet, compared, policy) for seed in LONG_SEEDS], moving=18, better=10)
