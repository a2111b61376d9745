"""Trends of a bearing's signals against their expected levels: the figures that the nights themselves compare."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from condlube.detection.deviations import deviations
from condlube.operations.desk import Row, Sight
from condlube.policy.model import Policy
from condlube.schema.arrow import rows_to_table
from condlube.schema.nights import nights_between
from condlube.schema.words import SIGNALS
from condlube.store import views

TREND_DAYS = 731
BAND_SPREADS = 2.0
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


def trends(
    sight: Sight, policy: Policy, bearing: Row, events: Sequence[Row], days: int = TREND_DAYS
) -> tuple[list[Trend], list[Answer]]:
    """Trends of the bearing's own points up to tonight, and their answers to greasings, oldest first.

    ``events`` are those of the bearing and its machine. What sees other bearings, as the shift of a whole collector, is
    not looked at here.
    """
    register, run, bearing_id = sight.register, sight.run, bearing["bearing_id"]
    own = pc.and_(pc.equal(register.points["bearing_id"], bearing_id), pc.is_in(register.points["quantity"], _SIGNALS))
    points = register.points.filter(own).to_pandas()
    if points.empty:
        return [], []
    begin = sight.night - timedelta(days=days - 1)
    ids = points["point_id"].to_list()
    known = run["known_by"]
    summaries = views.summaries(sight.snapshot, known, [("point_id", "in", ids), ("date", ">=", begin),
                                                        ("date", "<=", sight.night)]).to_pandas()  # fmt: skip
    if summaries.empty:
        return [], []
    expected = views.expected(sight.snapshot, known, [("point_id", "in", ids)]).to_pandas()
    seen = [row for row in events if row["time"] < run["as_of"] and row["known_at"] <= known]
    bearings = register.bearings.filter(pc.equal(register.bearings["bearing_id"], bearing_id)).to_pandas()
    first = max(begin, pd.Timestamp(summaries["date"].min()).date())
    found = deviations(
        summaries, expected, rows_to_table("events", seen).to_pandas(), points, bearings,
        nights_between(first, sight.night), register.site.zone, policy,
    ).sort_values(["point_id", "night"])  # fmt: skip
    order = {name: k for k, name in enumerate(SIGNALS)}
    groups = sorted(found.groupby("point_id"), key=lambda group: (order[group[1]["quantity"].iloc[0]], group[0]))
    return [_trend(frame) for _, frame in groups], sorted(
        (answer for _, frame in groups for answer in _answers(frame)), key=lambda a: (a.greased, order[a.quantity])
    )


def _trend(frame: pd.DataFrame) -> Trend:
    quantity = str(frame["quantity"].iloc[0])
    expected, deviation, sd = (frame[c].to_numpy(dtype=np.float64) for c in ("expected", "deviation", "deviation_sd"))
    if quantity in _RATIOS:
        reach = np.exp(BAND_SPREADS * sd / deviation)
        low, high = expected / reach, expected * reach
    elif quantity in _DECIBELS:
        reach = 10 ** (BAND_SPREADS * sd / 20)
        low, high = expected / reach, expected * reach
    else:
        low, high = expected - BAND_SPREADS * sd, expected + BAND_SPREADS * sd
    return Trend(
        str(frame["point_id"].iloc[0]), quantity, str(frame["unit"].iloc[0]),
        tuple(pd.to_datetime(frame["night"]).dt.date),
        _figures(frame["observed"].to_numpy(dtype=np.float64)), _figures(expected), _figures(low), _figures(high),
        tuple(frame["status"]), tuple(frame["reason"].fillna("")),
    )  # fmt: skip


def _figures(values: np.ndarray) -> tuple[float | None, ...]:
    return tuple(float(f"{v:.5g}") if np.isfinite(v) else None for v in values.tolist())


def _answers(frame: pd.DataFrame) -> list[Answer]:
    """The last response that the nights told of each greasing; unknown where there was none."""
    told = frame.dropna(subset=["response_to"]).drop_duplicates("response_to", keep="last")
    known = told[~told["response"].isna()]
    names = ("point_id", "quantity", "response")
    words = zip(*(known[name].astype(str) for name in names), strict=True)
    times = pd.to_datetime(known["response_to"], utc=True).dt.to_pydatetime()
    return [Answer(point, quantity, at, response) for (point, quantity, response), at in zip(words, times, strict=True)]
