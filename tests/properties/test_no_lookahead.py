"""Nothing that becomes known after a night changes what a replay decides for that night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal

from condlube.backtest.replay import Span, compare_nights, decide_nights, learn_nights, no_expected
from condlube.chain import Plant
from condlube.operations.decide import decide_batch
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema
from condlube.simulation.fleet import simulate_fleet

FIRST, LAST = date(2023, 3, 1), date(2023, 4, 15)
DEFAULT = Path(__file__).parents[2] / "condlube" / "policy" / "default.toml"


@dataclass
class Held:
    """A history in memory."""

    rows: pd.DataFrame
    events: pd.DataFrame
    reviews: pd.DataFrame

    def summaries(
        self, first: date | None, last: date, known_by: datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        day = pd.to_datetime(self.rows["date"])
        wanted = (day <= pd.Timestamp(last)) & (self.rows["known_at"] <= known_by)
        if first is not None:
            wanted &= day >= pd.Timestamp(first)
        found = self.rows[wanted].reset_index(drop=True)
        return found if columns is None else found[list(columns)]


@pytest.fixture(scope="module")
def policy():
    return parse_policy(DEFAULT.read_text(encoding="utf-8"), "default.toml")


@pytest.fixture(scope="module")
def plant_and_history():
    made = simulate_fleet(np.random.default_rng(3), 4, 115 / 365.25, spalling_per_year=2.0, unbalance_per_year=1.0)
    reviews = arrow_schema("reviews").empty_table().to_pandas()
    held = Held(made.summaries.to_pandas(), made.events.to_pandas(), reviews)
    return Plant.of(made.register), held


@pytest.fixture(scope="module")
def span(plant_and_history):
    return Span.of(FIRST, LAST, plant_and_history[0], run_hour=6, every=15)


def replayed(plant, held, span, policy) -> pd.DataFrame:
    expected, tables = no_expected(), []
    for nights in span.chunks:
        learned = learn_nights(plant, held, expected, nights, span, policy)
        found = compare_nights(plant, held, expected, learned, nights, span, policy)
        expected = pd.concat([expected, *learned], ignore_index=True)
        tables += list(decide_nights(plant, held, found, nights, span, policy, decide_batch))
    return pa.concat_tables(tables).to_pandas()


@pytest.fixture(scope="module")
def untouched(plant_and_history, span, policy):
    return replayed(*plant_and_history, span, policy)


def edited(held: Held, rng: np.random.Generator, known_by: datetime) -> Held:
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
def test_what_is_known_later_changes_no_earlier_night(plant_and_history, span, policy, untouched, seed, cut):
    _check(plant_and_history, span, policy, untouched, seed, cut)


@pytest.mark.long
@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 2**32 - 1), cut=st.integers(0, 2))
def test_what_is_known_later_changes_no_earlier_night_long(plant_and_history, span, policy, untouched, seed, cut):
    _check(plant_and_history, span, policy, untouched, seed, cut)


def _check(plant_and_history, span, policy, untouched, seed, cut) -> None:
    plant, held = plant_and_history
    night = span.nights[cut]
    other = replayed(plant, edited(held, np.random.default_rng(seed), span.known_by[night]), span, policy)
    before = [frame[frame["night"] <= night].reset_index(drop=True) for frame in (untouched, other)]
    assert len(before[0]) == 4 * (cut + 1)
    assert_frame_equal(*before, check_exact=True)


def test_the_edits_do_change_later_nights(plant_and_history, span, policy, untouched):
    plant, held = plant_and_history
    other = replayed(plant, edited(held, np.random.default_rng(1), span.known_by[span.nights[1]]), span, policy)
    late = [frame[frame["night"] > span.nights[1]].reset_index(drop=True) for frame in (untouched, other)]
    assert not late[0].equals(late[1])
