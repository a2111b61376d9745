"""A small fleet as a history, and the same nights one by one through the chain: what a replay must equal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from condlube.assessment.count import since_begins
from condlube.backtest.replay import Span, compare_nights, decide_nights, learn_nights, no_expected
from condlube.backtest.seen import events_seen, newest_versions
from condlube.chain import Bearings, Plant, compare, turns
from condlube.operations.decide import decide_batch
from condlube.policy.model import Policy
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema
from condlube.schema.nights import as_of
from condlube.simulation.fleet import simulate_fleet

DEFAULT = Path("condlube/policy/default.toml")


@dataclass
class Held:
    """A history in memory."""

    rows: pd.DataFrame
    events: pd.DataFrame
    reviews: pd.DataFrame

    def summaries(
        self, first: date | pd.Series | None, last: date, known_by: datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        if isinstance(first, pd.Series):
            told = self.summaries(None, last, known_by, columns)
            since = since_begins(told["point_id"], pd.to_datetime(told["date"]).to_numpy(), first)
            return told[since].reset_index(drop=True)
        day = pd.to_datetime(self.rows["date"])
        wanted = (day <= pd.Timestamp(last)) & (self.rows["known_at"] <= known_by)
        if first is not None:
            wanted &= day >= pd.Timestamp(first)
        found = self.rows[wanted].reset_index(drop=True)
        return found if columns is None else found[list(columns)]


@pytest.fixture(scope="session")
def policy() -> Policy:
    file = Path(__file__).parents[2] / DEFAULT
    return parse_policy(file.read_text(encoding="utf-8"), "default.toml")


def _fleet(seed: int, bearings: int, years: float, **faults: float) -> tuple[Plant, Held]:
    made = simulate_fleet(np.random.default_rng(seed), bearings, years, **faults)
    reviews = arrow_schema("reviews").empty_table().to_pandas()
    return Plant.of(made.register), Held(made.summaries.to_pandas(), made.events.to_pandas(), reviews)


@pytest.fixture(scope="session")
def small() -> tuple[Plant, Held]:
    """Eight bearings over 150 days, some of which fail."""
    return _fleet(7, 8, 200 / 365.25, spalling_per_year=2.0, unbalance_per_year=1.0)


def _replayed(plant: Plant, held: Held, span: Span, policy: Policy) -> pd.DataFrame:
    return _compared(plant, held, span, policy)[0]


def _alone(*_: object) -> tuple[pa.Table, pa.Table]:
    raise AssertionError("these nights can be decided together")


def _compared(plant: Plant, held: Held, span: Span, policy: Policy, alone=_alone) -> tuple[pd.DataFrame, pd.DataFrame]:
    expected, tables, deviations = no_expected(), [], []
    for nights in span.chunks:
        learned = learn_nights(plant, held, expected, nights, span, policy)
        found = compare_nights(plant, held, expected, learned, nights, span, policy)
        expected = pd.concat([expected, *learned], ignore_index=True)
        deviations.append(found)
        tables += list(decide_nights(plant, held, found, nights, span, policy, alone))
    return pa.concat_tables(tables).to_pandas(), pd.concat(deviations, ignore_index=True)


def _nightly(plant: Plant, held: Held, span: Span, policy: Policy) -> pd.DataFrame:
    """Each night as ``operations.night`` runs it: one ``compare`` and one ``decide``."""
    expected, tables = no_expected(), []
    for night in span.nights:
        end, known_by = as_of(night, plant.register.site.zone), span.known_by[night]
        seen = newest_versions(held.summaries(None, night, known_by))
        events = events_seen(held.events, end, known_by)
        learned, found = compare(plant, seen, expected, events, night, end, known_by, policy)
        expected = pd.concat([expected, learned], ignore_index=True)
        reviews = held.reviews[held.reviews["known_at"] <= known_by].reset_index(drop=True)
        batch = Bearings(turns(plant, policy), plant.points, found, seen)
        tables.append(decide_batch(batch, plant, events, reviews, policy, end)[0])
    return pa.concat_tables(tables).to_pandas()


@pytest.fixture(scope="session")
def fleet():
    """A fleet of so many bearings and years as plant and history."""
    return _fleet


@pytest.fixture(scope="session")
def replayed():
    """Decisions of a span by replay."""
    return _replayed


@pytest.fixture(scope="session")
def compared():
    """Decisions of a span by replay, and the deviations that they were made from; ``alone`` decides a night that
    cannot be decided together with others."""
    return _compared


@pytest.fixture(scope="session")
def nightly():
    """Decisions of a span night by night."""
    return _nightly
