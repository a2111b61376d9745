"""Daily summaries as flat arrays: cells ordered by point, day and cell, and what each day could say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from condlube.manipulation.expected import to_scale
from condlube.manipulation.kernel import Floats, Ints
from condlube.manipulation.reasons import NOT_TESTABLE
from condlube.manipulation.robust import Bools
from condlube.policy.model import Policy
from condlube.schema.words import LUBRICATION_SENSITIVE, SIGNALS

# What a day could say, in the order in which it is decided.
SOUND, SLOW, FAULTY, UNTESTABLE, STOPPED = range(5)


@dataclass(frozen=True)
class Cells:
    """Operating cells of signal points; row i of every array is one cell.

    ``points`` (one row per signal point, ordered by point_id) carries the register's columns; point p owns rows
    ``start[p]`` to ``start[p + 1]``. ``level`` and ``within`` are on the scale of comparison, ``operating`` is speed,
    load, ambient (lagged for temperature), ``weight`` adds up to 1 over the sound cells of a night, ``known_at`` is in
    microseconds since the epoch.
    """

    points: pd.DataFrame
    start: Ints
    point: Ints
    day: Ints
    level: Floats
    operating: Floats
    weight: Floats
    within: Floats
    n: Ints
    coverage: Floats
    sound: Bools
    running: Bools
    known_at: Ints
    last_value: Floats
    last_time: Ints
    days: pd.DataFrame


def day_number(dates: pd.Series) -> Ints:
    """Dates as days since 1970-01-01."""
    return pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64)


def signal_points(points: pd.DataFrame, bearings: pd.DataFrame) -> pd.DataFrame:
    """The measuring points that speak about a bearing or machine, ordered by id, with what the bearing's row tells."""
    found = points[points["quantity"].isin(SIGNALS)].sort_values("point_id").reset_index(drop=True)
    known = bearings.drop_duplicates("bearing_id").set_index("bearing_id")
    of_machine = bearings.dropna(subset=["machine_id"]).groupby("machine_id")["speed_rpm"].max()
    made = found.assign(
        machine_id=found["machine_id"].where(found["machine_id"].notna(), found["bearing_id"].map(known["machine_id"])),
        bearing_type=found["bearing_id"].map(known["bearing_type"]),
        speed_rpm=pd.to_numeric(found["bearing_id"].map(known["speed_rpm"])),
    )
    made["speed_rpm"] = made["speed_rpm"].fillna(made["machine_id"].map(of_machine)).astype(float)
    made["route"] = (made["sampling"] == "route").to_numpy()
    return made


def cells_of(
    summaries: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, last_day: int, policy: Policy
) -> Cells:
    """Cells of all signal points up to ``last_day``; of several versions of a cell the newest known counts."""
    signal = signal_points(points, bearings)
    position = pd.Index(signal["point_id"]).get_indexer(pd.Index(summaries["point_id"]))
    rows = summaries[position >= 0].assign(point=position[position >= 0])
    rows = rows.assign(day=day_number(rows["date"]))
    rows = rows[rows["day"] <= last_day].sort_values(["point", "day", "cell", "known_at"], kind="stable")
    rows = rows.drop_duplicates(["point", "day", "cell"], keep="last")
    point = rows["point"].to_numpy(dtype=np.int64)
    day = rows["day"].to_numpy(dtype=np.int64)
    quantity = signal["quantity"].to_numpy(dtype=object)[point]
    fault = rows["fault"].fillna("").to_numpy(dtype=object)
    n = rows["n"].fillna(0).to_numpy(dtype=np.int64)
    operating = _operating(rows, quantity == "temperature")
    median, within = _floats(rows, "median"), _floats(rows, "spread")
    level, spread = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    for name in SIGNALS:
        of = quantity == name
        level[of] = to_scale(name, median[of])
        spread[of] = to_scale(name, median[of] + within[of]) - level[of]
    running = (rows["cell"].to_numpy(dtype=np.int64) >= 0) & (n > 0) & (fault == "")
    speed = np.where(np.isnan(operating[:, 0]), signal["speed_rpm"].to_numpy()[point], operating[:, 0])
    slow = np.isin(quantity, LUBRICATION_SENSITIVE) & (np.abs(speed) < policy.detection.slow_shaft_rpm)
    sound = running & ~slow & np.isfinite(level)
    kind = np.select(
        [sound, running & slow, running, fault == "", np.isin(fault, list(NOT_TESTABLE))],
        [SOUND, SLOW, FAULTY, STOPPED, UNTESTABLE],
        FAULTY,
    )
    reason = np.where(running & ~slow & ~sound, "zero", fault)
    return Cells(
        points=signal,
        start=np.searchsorted(point, np.arange(len(signal) + 1)).astype(np.int64),
        point=point,
        day=day,
        level=level,
        operating=operating,
        weight=_weights(point, day, n, sound),
        within=np.where(np.isfinite(spread), spread, 0.0),
        n=n,
        coverage=_floats(rows, "coverage"),
        sound=sound,
        running=running,
        known_at=_instants(rows["known_at"]),
        last_value=_floats(rows, "last_value"),
        last_time=_instants(rows["last_time"]),
        days=_days(point, day, kind, reason, rows["n_total"].fillna(0).to_numpy()),
    )


def _floats(rows: pd.DataFrame, column: str) -> Floats:
    return pd.to_numeric(rows[column]).to_numpy(dtype=float)


def _instants(times: pd.Series) -> Ints:
    return pd.to_datetime(times, utc=True).dt.tz_localize(None).to_numpy().astype("datetime64[us]").astype(np.int64)


def _operating(rows: pd.DataFrame, lagged: Bools) -> Floats:
    """Speed, load and ambient of each cell; for temperature through its thermal lag, where that is known."""
    made = np.empty((len(rows), 3))
    for v, (plain, late) in enumerate(
        (("speed_rpm", "speed_lagged_rpm"), ("load", "load_lagged"), ("ambient_degc", "ambient_lagged_degc"))
    ):
        now, then = _floats(rows, plain), _floats(rows, late)
        made[:, v] = np.where(lagged & np.isfinite(then), then, now)
    return made


def _weights(point: Ints, day: Ints, n: Ints, sound: Bools) -> Floats:
    if not len(point):
        return np.zeros(0)
    night = np.concatenate([[0], np.cumsum((np.diff(point) != 0) | (np.diff(day) != 0))])
    mass = np.where(sound, n, 0).astype(float)
    total = np.bincount(night, mass)[night]
    return np.where(total > 0, mass / np.maximum(total, 1), 0.0)


def _days(point: Ints, day: Ints, kind: Ints, reason: Any, total: Any) -> pd.DataFrame:
    """One row per point and day with rows: what it could say, and the reason code where that is not a level."""
    frame = pd.DataFrame({"point": point, "day": day, "kind": kind, "reason": reason, "total": -total})
    frame = frame[(total != 0) | (kind != STOPPED)]
    frame = frame.sort_values(["point", "day", "kind", "total", "reason"], kind="stable")
    made: pd.DataFrame = frame.drop_duplicates(["point", "day"]).drop(columns="total").reset_index(drop=True)
    return made


