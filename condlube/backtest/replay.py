"""Replay of a span of nights through the chain, each with only what was known then.

References are learned in order of time; with them, any stretch of nights can be compared and decided on its own. The
deviations and decisions of many nights are made in one call, by the steps of the nightly run; late rows begin a new
call (``seen.segments``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.advisory.guards import FACTS
from condlube.assessment.greasings import instant, times
from condlube.assessment.nights import Nights, many_nights
from condlube.assessment.sources import POSITION, SOURCES, FloatArray
from condlube.backtest.seen import History, events_seen, kept, newest_versions, segments
from condlube.backtest.usage import USAGE, speaking, usage_begins
from condlube.chain import Bearings, Plant, decide_many, turns
from condlube.detection.deviations import deviations
from condlube.detection.references import advance, lookback
from condlube.detection.series import SUMMARY_COLUMNS
from condlube.detection.visible import visible_expected
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema, from_frame
from condlube.schema.nights import as_of, nights_between

Decide = Callable[[Bearings, Plant, pd.DataFrame, pd.DataFrame, Policy, datetime], tuple[pa.Table, pa.Table]]
"""Decisions and evidence of a batch of bearings: the step that the nightly run applies."""

VALUES = tuple(f"value_{source}" for source in SOURCES)
"""What was weighed of each evidence source, beside the columns of a decision."""
BESIDE = (*VALUES, *FACTS)
"""The columns of replayed decisions that the table ``decisions`` does not have."""


ROWS_AT_ONCE = 570_000
"""Points times days that are worked on at once: more takes memory, less repeats what every call has to prepare."""


@dataclass(frozen=True)
class Span:
    """The nights of a replay and by when each of them knew what it knew."""

    nights: tuple[date, ...]
    known_by: Mapping[date, datetime]
    days_at_once: int = 31

    @staticmethod
    def of(first: date, last: date, plant: Plant, run_hour: int, every: int = 1) -> Span:
        """Every ``every``-th night from ``first`` to ``last``, each known by the start of its nightly run."""
        zone = plant.register.site.zone
        nights = tuple(nights_between(first, last)[::every])
        known_by = {n: as_of(n, zone) + timedelta(hours=run_hour) for n in nights}
        return Span(nights, known_by, min(max(ROWS_AT_ONCE // max(len(plant.points), 1), 7), 184))

    @cached_property
    def chunks(self) -> list[tuple[date, ...]]:
        """The nights by so many days: what is worked on, cached and resumed as one. The first stretch is half as long,
        such that the work on it can begin while references are learned for the next."""
        ahead = self.days_at_once // 2
        number = [((night - self.nights[0]).days + ahead) // self.days_at_once for night in self.nights]
        pairs = zip(number, self.nights, strict=True)
        return [tuple(night for _, night in own) for _, own in groupby(pairs, key=itemgetter(0))]


def learn_nights(
    plant: Plant, history: History, expected: pd.DataFrame, nights: Sequence[date], span: Span, policy: Policy
) -> list[pd.DataFrame]:
    """Expected levels that the nights bring, one table for each part of ``parts_of``.

    ``expected`` holds what the nights before these brought; empty where the replay begins, and the references are then
    learned from the beginning of the history.
    """
    learned: list[pd.DataFrame] = []
    for part in parts_of(plant, history, expected, nights, span, policy):
        new = advance(part.seen, part.visible([expected, *learned]), part.events, plant.points, plant.bearings,
                      part.end, plant.register.site.zone, policy)  # fmt: skip
        learned.append(new)
    return learned


def compare_nights(
    plant: Plant, history: History, expected: pd.DataFrame, learned: Sequence[pd.DataFrame], nights: Sequence[date],
    span: Span, policy: Policy,
) -> pd.DataFrame:  # fmt: skip
    """Table ``deviations`` of the nights; ``learned`` is what ``learn_nights`` made of them."""
    found = []
    for k, part in enumerate(parts_of(plant, history, expected, nights, span, policy)):
        serving = _joined([part.visible([expected, *learned[:k]]), learned[k]])
        found.append(deviations(part.seen, serving, part.events, plant.points, plant.bearings, part.nights,
                                plant.register.site.zone, policy))  # fmt: skip
    return found[0] if len(found) == 1 else pd.concat(found, ignore_index=True)


class Part(NamedTuple):
    """Nights between which nothing became known late, and what the last of them sees."""

    nights: list[date]
    end: datetime
    known_by: datetime
    seen: pd.DataFrame
    events: pd.DataFrame

    def visible(self, expected: Sequence[pd.DataFrame]) -> pd.DataFrame:
        """Of expected levels those that the nights may see."""
        return visible_expected(_joined(expected), self.end, self.known_by)


def parts_of(
    plant: Plant, history: History, expected: pd.DataFrame, nights: Sequence[date], span: Span, policy: Policy
) -> Iterator[Part]:
    """The nights in runs, each with the summaries and events that it sees as far back as references need them."""
    zone = plant.register.site.zone
    first = _back(expected, nights[0], span, plant, policy)
    whole = history.summaries(first, nights[-1], span.known_by[nights[-1]], SUMMARY_COLUMNS)
    for part in segments(nights, span.known_by, zone, whole, history.events):
        end, known_by = as_of(part[-1], zone), span.known_by[part[-1]]
        seen = newest_versions(kept(whole, (whole["known_at"] <= known_by).to_numpy()))
        yield Part(part, end, known_by, seen, events_seen(history.events, end, known_by))


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
    """Table ``decisions`` of the nights, night by night, with the columns ``BESIDE``.

    Nights between which nothing became known late are decided together, by the steps of the nightly run. Where that
    fails, ``decide`` takes them one by one, such that one bearing that fails does not lose the others.
    """
    zone = plant.register.site.zone
    bearings = turns(plant, policy)
    last = span.known_by[nights[-1]]
    begins = usage_begins(plant, history.events, as_of(nights[0], zone), last)
    usage = speaking(history.summaries(begins, nights[-1], last, USAGE), plant)
    night_of_row = days_of(found["night"])
    for part in segments(nights, span.known_by, zone, usage, history.events):
        wanted = np.array(part, dtype="datetime64[D]")
        block = kept(found, np.isin(night_of_row, wanted))
        used = _seen_usage(usage, part[-1], span)
        events = events_seen(history.events, as_of(part[-1], zone), span.known_by[part[-1]])
        at_once = many_nights(bearings, events, part, zone)
        reviews = _seen_reviews(history.reviews, at_once, span)
        try:
            yield _by_night(*decide_many(at_once, plant, used, block, reviews, policy), len(part))
        except Exception:
            for night in part:
                end, known_by = as_of(night, zone), span.known_by[night]
                tonight = block[days_of(block["night"]) == np.datetime64(night)].reset_index(drop=True)
                batch = Bearings(bearings, plant.points, tonight, _seen_usage(usage, night, span))
                known = history.reviews[history.reviews["known_at"] <= known_by].reset_index(drop=True)
                told = events_seen(history.events, end, known_by)
                yield with_values(*decide(batch, plant, told, known, policy, end))


def _seen_usage(usage: pd.DataFrame, night: date, span: Span) -> pd.DataFrame:
    known = (usage["known_at"] <= span.known_by[night]).to_numpy()
    return newest_versions(kept(usage, (days_of(usage["date"]) <= np.datetime64(night)) & known))


def _seen_reviews(reviews: pd.DataFrame, nights: Nights, span: Span) -> pd.DataFrame:
    """The reviews with each row ``which`` that sees them."""
    rows = pd.DataFrame({"bearing_id": nights.bearings["bearing_id"], "which": np.arange(len(nights.end))})
    by = {np.datetime64(night): instant(known_by) for night, known_by in span.known_by.items()}
    days, column = np.unique(nights.night, return_inverse=True)
    rows["known_by"] = np.array([by[night] for night in days])[column]
    pairs = reviews.merge(rows[rows["bearing_id"].isin(reviews["bearing_id"])], on="bearing_id")
    return pairs[times(pairs["known_at"]) <= pairs["known_by"].to_numpy()].reset_index(drop=True)


def _by_night(decisions: pd.DataFrame, beside: FloatArray, nights: int) -> pa.Table:
    """Rows bearing by bearing put night by night, with ``BESIDE``."""
    order = np.arange(len(decisions)).reshape(-1, nights).T.ravel()
    made = from_frame("decisions", decisions.iloc[order])
    for name, column in zip(BESIDE, beside, strict=True):
        made = made.append_column(name, pa.array(column[order]))
    return made


def days_of(column: pd.Series) -> np.ndarray:
    """Local dates as numbers of days."""
    return np.asarray(pd.to_datetime(column).to_numpy().astype("datetime64[D]"))


def with_values(decisions: pa.Table, evidence: pa.Table) -> pa.Table:
    """Decisions with ``BESIDE``; NaN where a source said nothing, and of the facts, which evidence rows do not hold."""
    rows = evidence.select(["bearing_id", "source", "deviation"]).to_pandas()
    which = pd.Index(decisions["bearing_id"].to_pandas()).get_indexer(rows["bearing_id"])
    source = rows["source"].map(POSITION).fillna(-1).to_numpy(dtype=np.int64)
    said = source >= 0
    values = np.full((decisions.num_rows, len(BESIDE)), np.nan)
    values[which[said], source[said]] = rows["deviation"].to_numpy(dtype=np.float64, na_value=np.nan)[said]
    for name, column in zip(BESIDE, values.T, strict=True):
        decisions = decisions.append_column(name, pa.array(column))
    return decisions


def no_expected() -> pd.DataFrame:
    """The table ``expected`` before anything was learned."""
    return arrow_schema("expected").empty_table().to_pandas()
