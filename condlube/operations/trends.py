"""Trends of a bearing's signals against their expected levels: the figures that the nights themselves compare.

A page shows two years on a thousand pixels: of the older nights it is given a sample, and every night that stands out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from condlube.detection.deviations import deviations
from condlube.detection.series import SUMMARY_COLUMNS
from condlube.operations.desk import Row, Sight
from condlube.policy.model import Policy
from condlube.schema.arrow import rows_to_table
from condlube.schema.nights import nights_between
from condlube.schema.words import SIGNALS
from condlube.store import views

TREND_DAYS = 731
EVERY_DAYS = 90
"""Of so many nights back from tonight each is shown ..."""
STEP_DAYS = 5
"""... and before them one of so many, unless a level stands out."""
OUTLYING = 4.0
"""A level stands out when it is so many times its point's median step away from that of the day before."""
BAND_SPREADS = 2.0
MOST_KEPT = 64
"""Bearings of a run whose trends are kept."""
_FIGURES = ("observed", "expected", "deviation", "deviation_sd")
_WORDS = ("point_id", "quantity", "unit", "status", "reason", "response", "response_to")
_DECIBELS = ("acceleration",)
_RATIOS = ("velocity", "kurtosis", "crest_factor")
_SIGNALS = pa.array(SIGNALS)


@dataclass(frozen=True)
class Trend:
    """One measuring point over the nights; every tuple holds one value a night, None where nothing could be compared.

    ``low`` and ``high`` are the expected level less and plus ``BAND_SPREADS`` standard uncertainties, all in ``unit``.
    ``statuses`` tells what could be said on each night, ``reasons`` why not.
    """

    point_id: str
    quantity: str
    unit: str
    nights: tuple[date, ...]
    observed: tuple[float | None, ...]
    expected: tuple[float | None, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    statuses: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    """How one point answered a greasing, as far as the nights up to the next one tell."""

    point_id: str
    quantity: str
    greased: datetime
    response: str


Found = tuple[list[Trend], list[Answer]]


def trends(sight: Sight, policy: Policy, bearing: Row, events: Sequence[Row], whole: bool = False) -> Found:
    """Trends of the bearing's own points over the last two years, and their answers to greasings, oldest first.

    ``events`` are those of the bearing and its machine. ``whole`` gives every night, else a sample of the older ones.
    What sees other bearings, as the shift of a whole collector, is not looked at here. What a run saw does not change:
    the trends of the bearings that were asked for last are kept with it.
    """
    run, versions = sight.run, sight.snapshot.versions
    seen = [row for row in events if row["time"] < run["as_of"] and row["known_at"] <= run["known_by"]]
    key = (bearing["bearing_id"], whole, versions["summaries"], versions["expected"],
           tuple(row["event_id"] for row in seen))  # fmt: skip
    return sight.keep("trends", key, MOST_KEPT, lambda: _read(sight, policy, bearing["bearing_id"], seen, whole))


def _read(sight: Sight, policy: Policy, bearing_id: str, events: Sequence[Row], whole: bool) -> Found:
    register, known = sight.register, sight.run["known_by"]
    own = pc.and_(pc.equal(register.points["bearing_id"], bearing_id), pc.is_in(register.points["quantity"], _SIGNALS))
    points = register.points.filter(own).to_pandas()
    if points.empty:
        return [], []
    begin = sight.night - timedelta(days=TREND_DAYS - 1)
    of = ("point_id", "in", points["point_id"].to_list())
    span = ("date", ">=", begin), ("date", "<=", sight.night)
    with ThreadPoolExecutor(max_workers=1) as beside:
        models = beside.submit(views.expected, sight.snapshot, known, [of])
        read = views.summaries(sight.snapshot, known, [of, *span], SUMMARY_COLUMNS)
    if not read.num_rows:
        return [], []
    summaries, expected = read.to_pandas(), models.result().to_pandas()
    bearings = register.bearings.filter(pc.equal(register.bearings["bearing_id"], bearing_id)).to_pandas()
    zone = register.site.zone
    nights = nights_between(max(begin, pc.min(read["date"]).as_py()), sight.night)
    if not whole:
        given = [row["time"].astimezone(zone).date() for row in events if row["kind"] == "relubrication"]
        nights = _shown(nights, summaries, given)
    found = deviations(
        summaries, expected, rows_to_table("events", events).to_pandas(), points, bearings, nights, zone, policy
    )
    return _told(found.sort_values(["point_id", "night"]))


def _told(found: pd.DataFrame) -> Found:
    """Deviations, ordered by point and night, as trends and answers."""
    columns: dict[str, Any] = {name: found[name].to_list() for name in _WORDS}
    columns |= {name: found[name].to_numpy() for name in _FIGURES}
    columns["night"] = found["night"].to_numpy().astype("datetime64[D]").tolist()
    point, quantity = columns["point_id"], columns["quantity"]
    ends = [k for k in range(1, len(point)) if point[k] != point[k - 1]]
    parts = [slice(begin, end) for begin, end in pairwise([0, *ends, len(point)])]
    parts.sort(key=lambda part: (SIGNALS.index(quantity[part.start]), point[part.start]))
    answers = [answer for part in parts for answer in _answers(columns, part)]
    answers.sort(key=lambda answer: (answer.greased, SIGNALS.index(answer.quantity)))
    return [_trend(columns, part) for part in parts], answers


def _shown(nights: Sequence[date], summaries: pd.DataFrame, greased: Sequence[date]) -> list[date]:
    """Of the nights, ascending, those that are shown: the newest, a regular sample of the older ones, each on which a
    level stands out, and those that tell how the greasing before the next one was answered."""
    last = nights[-1]
    taken = {last - timedelta(days=k) for k in (*range(EVERY_DAYS), *range(EVERY_DAYS, len(nights), STEP_DAYS))}
    taken.update(day - timedelta(days=1) for day in greased)
    taken.update(_outlying(summaries))
    return [night for night in nights if night in taken]


def _outlying(summaries: pd.DataFrame) -> list[date]:
    """Days on which the level of a point leaps away from that of its day before, and back or not."""
    running = summaries[summaries["cell"] >= 0]
    level = running.groupby(["point_id", "date"])["median"].mean()
    step = level.groupby(level="point_id").diff().abs()
    usual = step.groupby(level="point_id").transform("median")
    return list(step.index.get_level_values("date")[(step > OUTLYING * usual).to_numpy()])


def _trend(columns: Mapping[str, Any], part: slice) -> Trend:
    quantity = columns["quantity"][part.start]
    observed, expected, deviation, sd = (columns[name][part] for name in _FIGURES)
    if quantity in _RATIOS:
        reach = np.exp(BAND_SPREADS * sd / deviation)
        low, high = expected / reach, expected * reach
    elif quantity in _DECIBELS:
        reach = 10 ** (BAND_SPREADS * sd / 20)
        low, high = expected / reach, expected * reach
    else:
        low, high = expected - BAND_SPREADS * sd, expected + BAND_SPREADS * sd
    return Trend(
        columns["point_id"][part.start], quantity, columns["unit"][part.start], tuple(columns["night"][part]),
        _figures(observed), _figures(expected), _figures(low), _figures(high), tuple(columns["status"][part]),
        tuple(reason if isinstance(reason, str) else "" for reason in columns["reason"][part]),
    )  # fmt: skip


def _figures(values: np.ndarray) -> tuple[float | None, ...]:
    return tuple(float(f"{v:.5g}") if isfinite(v) else None for v in values.tolist())


def _answers(columns: Mapping[str, Any], part: slice) -> list[Answer]:
    """The last response that the nights told of each greasing; unknown where there was none."""
    told = dict(zip(columns["response_to"][part], columns["response"][part], strict=True))
    point, quantity = columns["point_id"][part.start], columns["quantity"][part.start]
    return [Answer(point, quantity, at.to_pydatetime(), word) for at, word in told.items()
            if isinstance(word, str) and not pd.isna(at)]  # fmt: skip
