"""Nothing that becomes known after a night changes what a replay decides for that night."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from condlube.backtest.replay import Span
from condlube.operations.decide import decide_batch

FIRST, LAST = date(2023, 3, 1), date(2023, 4, 15)


@pytest.fixture(scope="module")
def plant_and_history(fleet):
    return fleet(3, 4, 115 / 365.25, spalling_per_year=2.0, unbalance_per_year=1.0)


@pytest.fixture(scope="module")
def span(plant_and_history):
    return Span.of(FIRST, LAST, plant_and_history[0], run_hour=6, every=15)


@pytest.fixture(scope="module")
def decided(compared, span, policy):
    """Decisions of the span from a plant and a history."""
    return lambda plant, held: compared(plant, held, span, policy, decide_batch)[0]


@pytest.fixture(scope="module")
def untouched(plant_and_history, decided):
    return decided(*plant_and_history)


def edited(held, rng: np.random.Generator, known_by: datetime):
    """The history with random changes to what became known after ``known_by``."""
    rows, events = held.rows.copy(), held.events.copy()
    later = np.flatnonzero((rows["known_at"] > known_by).to_numpy())
    hit = rng.choice(later, size=len(later) // 3, replace=False)
    rows.loc[hit, "median"] = rows.loc[hit, "median"] + rng.normal(0, 20, len(hit))
    rows.loc[rng.choice(later, size=len(later) // 10, replace=False), "fault"] = "zeros"
    again = rows.sample(40, random_state=int(rng.integers(1e9)))  # old days sent again, known only later
    again = again.assign(median=again["median"] + 15.0, known_at=known_by + timedelta(days=float(rng.uniform(0.1, 40))))
    rows = pd.concat([rows.drop(rng.choice(later, size=len(later) // 10, replace=False)), again], ignore_index=True)
    late = (events["known_at"] > known_by).to_numpy()
    events = events[~late | (rng.random(len(events)) < 0.5)]
    new = events.sample(min(3, len(events)), random_state=int(rng.integers(1e9)))
    new = new.assign(
        event_id=[f"new{k}" for k in range(len(new))], supersedes=new["event_id"].to_numpy(),
        kind=rng.choice(["relubrication", "failure", "replacement", "withdrawn"], len(new)),
        time=new["time"] - timedelta(days=2), known_at=known_by + timedelta(days=float(rng.uniform(0.1, 40))),
    )  # fmt: skip
    return replace(held, rows=rows, events=pd.concat([events, new], ignore_index=True))


@settings(max_examples=3, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32 - 1), cut=st.integers(0, 2))
def test_what_is_known_later_changes_no_earlier_night(plant_and_history, span, decided, untouched, seed, cut):
    _check(plant_and_history, span, decided, untouched, seed, cut)


@pytest.mark.long
@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32 - 1), cut=st.integers(0, 2))
def test_what_is_known_later_changes_no_earlier_night_long(plant_and_history, span, decided, untouched, seed, cut):
    _check(plant_and_history, span, decided, untouched, seed, cut)


def _check(plant_and_history, span, decided, untouched, seed, cut) -> None:
    plant, held = plant_and_history
    night = span.nights[cut]
    other = decided(plant, edited(held, np.random.default_rng(seed), span.known_by[night]))
    before = [frame[frame["night"] <= night].reset_index(drop=True) for frame in (untouched, other)]
    assert len(before[0]) == 4 * (cut + 1)
    assert_frame_equal(*before, check_exact=True)


def test_the_edits_do_change_later_nights(plant_and_history, span, decided, untouched):
    plant, held = plant_and_history
    other = decided(plant, edited(held, np.random.default_rng(1), span.known_by[span.nights[1]]))
    late = [frame[frame["night"] > span.nights[1]].reset_index(drop=True) for frame in (untouched, other)]
    assert not late[0].equals(late[1])
