"""Replay of a span of nights through the chain, each with only what was known then.

The deviations of many nights are made in one call: a reference is served from the night on which it was frozen, and
late rows begin a new call (``seen.segments``). The calls are then made night by night, by the same step as at night.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.assessment.sources import POSITION, SOURCES
from condlube.backtest.seen import History, events_seen, newest_versions, segments
from condlube.backtest.usage import USAGE, count_begins, speaking
from condlube.chain import Bearings, Plant, turns
from condlube.detection.deviations import deviations
from condlube.detection.references import advance, lookback
from condlube.detection.visible import visible_expected
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema
from condlube.schema.nights import as_of, nights_between

Decide = Callable[[Bearings, Plant, pd.DataFrame, pd.DataFrame, Policy, datetime], tuple[pa.Table, pa.Table]]
"""Decisions and evidence of a batch of bearings: the step that the nightly run applies."""

VALUES = tuple(f"value_{source}" for source in SOURCES)
"""What was weighed of each evidence source, beside the columns of a decision."""


@dataclass(frozen=True)
class Span:
    """The nights of a replay and by when each of them knew what it knew."""

    nights: tuple[date, ...]
    known_by: Mapping[date, datetime]

    @staticmethod
    def of(first: date, last: date, plant: Plant, run_hour: int, every: int = 1) -> Span:
        """Every ``every``-th night from ``first`` to ``last``, each known by the start of its nightly run."""
        zone = plant.register.site.zone
        nights = tuple(nights_between(first, last)[::every])
        return Span(nights, {n: as_of(n, zone) + timedelta(hours=run_hour) for n in nights})

    @cached_property
    def chunks(self) -> list[tuple[date, ...]]:
        """The nights by calendar month: what is cached and resumed as one."""
        months: dict[tuple[int, int], list[date]] = {}
        for night in self.nights:
            months.setdefault((night.year, night.month), []).append(night)
        return [tuple(nights) for nights in months.values()]


def compare_nights(
    plant: Plant, history: History, expected: pd.DataFrame, nights: Sequence[date], span: Span, policy: Policy
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Expected levels that the nights bring, and the table ``deviations`` of all of them.

    ``expected`` holds what the nights before these brought; empty where the replay begins, and the references are then
    learned from the beginning of the history.
    """
    zone = plant.register.site.zone
    learned: list[pd.DataFrame] = []
    found: list[pd.DataFrame] = []
    newest = span.known_by[nights[-1]]
    whole = history.summaries(_back(expected, nights[0], span, plant, policy), nights[-1], newest)
    for part in segments(nights, span.known_by, zone, whole, history.events):
        end, known_by = as_of(part[-1], zone), span.known_by[part[-1]]
        seen = newest_versions(whole[whole["known_at"] <= known_by])
        events = events_seen(history.events, end, known_by)
        visible = visible_expected(expected, end, known_by)
        new = advance(seen, visible, events, plant.points, plant.bearings, end, zone, policy)
        serving = _joined([visible, new])
        found.append(deviations(seen, serving, events, plant.points, plant.bearings, part, zone, policy))
        expected = _joined([expected, new])
        learned.append(new)
    return _joined(learned), pd.concat(found, ignore_index=True)


def _back(expected: pd.DataFrame, night: date, span: Span, plant: Plant, policy: Policy) -> date | None:
    zone = plant.register.site.zone
    end = as_of(night, zone)
    return lookback(visible_expected(expected, end, span.known_by[night]), end, zone, policy)


def _joined(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The parts below each other; empty ones, whose columns have no types yet, left out."""
    filled = [part for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else parts[0]


def decide_nights(
    plant: Plant, history: History, found: pd.DataFrame, nights: Sequence[date], span: Span, policy: Policy,
    decide: Decide,
) -> Iterator[pa.Table]:  # fmt: skip
    """Table ``decisions`` of each of the nights, with the columns ``VALUES``."""
    zone = plant.register.site.zone
    bearings = turns(plant, policy)
    night_of_row = pd.to_datetime(found["night"]).to_numpy().astype("datetime64[D]")
    last = span.known_by[nights[-1]]
    first = count_begins(plant, history.events, as_of(nights[0], zone), last)
    usage = speaking(history.summaries(first, nights[-1], last, USAGE), plant)
    day = pd.to_datetime(usage["date"]).to_numpy().astype("datetime64[D]")
    for night in nights:
        end, known_by = as_of(night, zone), span.known_by[night]
        tonight = found[night_of_row == np.datetime64(night)].reset_index(drop=True)
        used = usage[(day <= np.datetime64(night)) & (usage["known_at"] <= known_by).to_numpy()]
        reviews = history.reviews[history.reviews["known_at"] <= known_by].reset_index(drop=True)
        batch = Bearings(bearings, plant.points, tonight, newest_versions(used))
        events = events_seen(history.events, end, known_by)
        yield with_values(*decide(batch, plant, events, reviews, policy, end))


def with_values(decisions: pa.Table, evidence: pa.Table) -> pa.Table:
    """Decisions with what was weighed of every source; NaN where a source said nothing."""
    rows = evidence.select(["bearing_id", "source", "deviation"]).to_pandas()
    which = pd.Index(decisions["bearing_id"].to_pandas()).get_indexer(rows["bearing_id"])
    source = rows["source"].map(POSITION).fillna(-1).to_numpy(dtype=np.int64)
    said = source >= 0
    values = np.full((decisions.num_rows, len(SOURCES)), np.nan)
    values[which[said], source[said]] = rows["deviation"].to_numpy(dtype=np.float64, na_value=np.nan)[said]
    for name, column in zip(VALUES, values.T, strict=True):
        decisions = decisions.append_column(name, pa.array(column))
    return decisions


def no_expected() -> pd.DataFrame:
    """The table ``expected`` before anything was learned."""
    return arrow_schema("expected").empty_table().to_pandas()
