"""Daily summaries of whole machines: the one door to signal quality, running state and operating cells."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.manipulation.days import summarise_day
from condlube.manipulation.fields import (
    AMBIENT_LAGGED,
    AMBIENT_MEAN,
    CELL,
    COVERAGE,
    DATE,
    FAULT,
    FIELDS,
    KNOWN,
    LAST_TIME,
    LAST_VALUE,
    LOAD_LAGGED,
    LOAD_MEAN,
    MEDIAN,
    MEMORABLE,
    N_TOTAL,
    OCTILE,
    P10,
    P90,
    POINT,
    RUNNING_H,
    SPEED_LAGGED,
    SPEED_RPM,
    SPREAD,
    STARTS,
    N,
)  # fmt: skip
from condlube.manipulation.kernel import Floats
from condlube.manipulation.layout import instants, lay_out
from condlube.manipulation.memory import blank, remember
from condlube.manipulation.reasons import REASONS
from condlube.manipulation.rules import rules_of
from condlube.policy.model import Policy
from condlube.schema.tables import TABLES

_FLOATS = {
    "running_h": RUNNING_H, "median": MEDIAN, "spread": SPREAD, "p10": P10, "p90": P90, "coverage": COVERAGE,
    "speed_rpm": SPEED_RPM, "load": LOAD_MEAN, "ambient_degc": AMBIENT_MEAN, "speed_lagged_rpm": SPEED_LAGGED,
    "load_lagged": LOAD_LAGGED, "ambient_lagged_degc": AMBIENT_LAGGED, "last_value": LAST_VALUE,
}  # fmt: skip
_INTS = {"cell": CELL, "n": N, "n_total": N_TOTAL, "starts": STARTS}


def summarise(
    readings: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, days: Iterable[date], zone: ZoneInfo,
    policy: Policy, earlier: pd.DataFrame | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Summaries of ``days`` for whole machines.

    Parameters
    ----------
    readings
        ``point_id, time, value, quality, known_at`` in canonical units, in any order: the readings of the days and of
        the ``summary.lookback_days`` local days before each, of every point of the machines and of the plant-wide
        ambient points. Of two readings of a point at one time the newest known holds.
    points, bearings
        Rows of the register (columns of the schema).
    days
        Site-local dates.
    zone
        The site's time zone: a day has 23, 24 or 25 hours.
    policy
        Uses ``[quality]``, ``[running]`` and ``[summary]``.
    earlier
        Summaries (any versions) of the ``summary.memory_days`` days before each of ``days``, those between them too:
        what the running state learnt from a signal's own levels, and what frozen and unit faults remember. Without
        them a machine that has neither speed nor power nor current counts as running until its signals have shown
        standstill within ``days``.

    Returns
    -------
    Summaries (columns of the schema), sorted by point, date and cell. A day without readings of a point has no row,
    plant-wide points have none. One call over all days equals calls day by day with the lookback and the earlier
    summaries of that day; machines do not influence each other.
    """
    wanted = sorted(set(days))
    points = points.sort_values("point_id", ignore_index=True)
    made = [
        _block(readings, points, bearings, block, zone, policy, earlier)
        for block in _blocks(wanted, policy.summary.memory_days)
    ]
    names = points["point_id"].to_numpy()
    dates = pd.DatetimeIndex(wanted).as_unit("us")
    offsets = np.cumsum([0, *(len(block) for block in _blocks(wanted, policy.summary.memory_days))])
    for rows, offset in zip(made, offsets, strict=False):
        rows[:, DATE] += offset
    rows = np.concatenate(made) if made else np.empty((0, FIELDS))
    rows = rows[np.lexsort((rows[:, CELL], rows[:, DATE], rows[:, POINT]))]
    return _frame(rows, names, dates)


def _blocks(days: list[date], memory_days: int) -> Iterator[list[date]]:
    """Days in stretches that remember each other."""
    block: list[date] = []
    for day in days:
        if block and (day - block[-1]).days > memory_days:
            yield block
            block = []
        block.append(day)
    if block:
        yield block


def _block(
    readings: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, days: list[date], zone: ZoneInfo,
    policy: Policy, earlier: pd.DataFrame | None,
) -> Floats:  # fmt: skip
    keep = policy.summary.memory_days
    first = days[0] - timedelta(days=keep)
    memory = blank(len(points), (days[-1] - first).days + 1)
    if earlier is not None and len(earlier):
        _recall(earlier, points, first, memory)
    batch, rules = lay_out(readings, points, bearings, days, zone, policy), rules_of(policy)
    made = []
    for k, day in enumerate(days):
        today = (day - first).days
        rows = summarise_day(batch, memory[:, today - keep : today], rules, k)
        remember(rows, today - k, memory)
        made.append(rows)
    return np.concatenate(made)


def _recall(earlier: pd.DataFrame, points: pd.DataFrame, first: date, memory: Floats) -> None:
    """Put earlier summaries into the memory, of each point and day the newest version."""
    label, found = pd.factorize(earlier["point_id"])
    point = np.append(pd.Index(points["point_id"]).get_indexer(pd.Index(found)), -1)[label]
    day = (pd.DatetimeIndex(earlier["date"]) - pd.Timestamp(first)).days.to_numpy()
    rows = np.empty((len(earlier), MEMORABLE))
    rows[:, POINT], rows[:, DATE] = point, day
    rows[:, KNOWN] = instants(earlier["known_at"])
    for name, field in {"cell": CELL, "n": N, "n_total": N_TOTAL, "median": MEDIAN, "p10": P10, "p90": P90}.items():
        rows[:, field] = earlier[name].to_numpy(np.float64, na_value=np.nan)
    label, found = pd.factorize(earlier["fault"])
    rows[:, FAULT] = np.array([*(REASONS.index(word) for word in found), 0], np.float64)[label]
    rows = rows[(point >= 0) & (day >= 0) & (day < memory.shape[1])]
    remember(rows, 0, memory)


def _frame(rows: Floats, names: np.ndarray, dates: pd.DatetimeIndex) -> pd.DataFrame:
    octiles = np.empty(len(rows), object)
    has = ~np.isnan(rows[:, OCTILE])
    for row in np.flatnonzero(has):
        octiles[row] = rows[row, OCTILE : OCTILE + 8]
    columns: dict[str, object] = {
        "point_id": names[rows[:, POINT].astype(np.int64)],
        "date": dates[rows[:, DATE].astype(np.int64)],
        "known_at": _utc(rows[:, KNOWN]),
        "octiles": octiles,
        "fault": np.array(REASONS, object)[rows[:, FAULT].astype(np.int64)],
        "last_time": _utc(rows[:, LAST_TIME]),
        **{name: rows[:, field].astype(np.int64) for name, field in _INTS.items()},
        **{name: rows[:, field] for name, field in _FLOATS.items()},
    }
    return pd.DataFrame({name: columns[name] for name in TABLES["summaries"].columns})


def _utc(micros: Floats) -> pd.DatetimeIndex:
    missing = np.isnan(micros)
    stamps = np.where(missing, 0, micros).astype(np.int64).astype("datetime64[us]")
    stamps[missing] = np.datetime64("NaT")
    return pd.DatetimeIndex(stamps).tz_localize("UTC")
