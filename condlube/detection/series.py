"""Daily summaries as flat arrays: cells ordered by point, day and cell, and what each day could say."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import pandas as pd

from condlube.manipulation.expected import to_scale
from condlube.manipulation.kernel import Bools, Floats, Ints, starts_of
from condlube.manipulation.reasons import NOT_TESTABLE
from condlube.policy.detection import PerQuantity
from condlube.policy.model import Policy
from condlube.schema.words import LUBRICATION_SENSITIVE, SIGNALS

SUMMARY_COLUMNS = (
    "point_id", "date", "cell", "known_at", "n", "n_total", "median", "spread", "coverage", "fault", "speed_rpm",
    "load", "ambient_degc", "speed_lagged_rpm", "load_lagged", "ambient_lagged_degc", "last_value", "last_time",
)  # fmt: skip
"""What detection reads of the summaries."""

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

    def between(self, first: int, last: int) -> Cells:
        """The cells of days ``first`` to ``last``."""
        kept = np.flatnonzero((self.day >= first) & (self.day <= last))
        own = {f.name: getattr(self, f.name) for f in fields(self)}
        rows = {name: own[name][kept] for name in own if name not in ("points", "start", "days")}
        days = self.days[(self.days["day"] >= first) & (self.days["day"] <= last)].reset_index(drop=True)
        return Cells(points=self.points, start=starts_of(rows["point"], len(self.points)), days=days, **rows)


def day_number(dates: pd.Series) -> Ints:
    """Dates as days since 1970-01-01."""
    days: Ints = pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64)
    return days


def signal_points(points: pd.DataFrame, bearings: pd.DataFrame) -> pd.DataFrame:
    """The measuring points that speak about a bearing or machine, ordered by id, with what the bearing's row tells."""
    found = points[points["quantity"].isin(SIGNALS)].sort_values("point_id").reset_index(drop=True)
    known = bearings.drop_duplicates("bearing_id").set_index("bearing_id")
    of_machine = bearings.dropna(subset=["machine_id"]).groupby("machine_id")["speed_rpm"].max()
    named = found["machine_id"].where(found["machine_id"] != "")
    made = found.assign(
        machine_id=named.where(named.notna(), found["bearing_id"].map(known["machine_id"])),
        bearing_type=found["bearing_id"].map(known["bearing_type"]),
        speed_rpm=pd.to_numeric(found["bearing_id"].map(known["speed_rpm"])),
    )
    made["speed_rpm"] = made["speed_rpm"].fillna(made["machine_id"].map(of_machine)).astype(float)
    made["route"] = (made["sampling"] == "route").to_numpy()
    return made


def of_quantity(each: PerQuantity, points: pd.DataFrame) -> Floats:
    """What holds for the quantity of each point."""
    return np.array([each.of(name) for name in points["quantity"]], dtype=float)


def cells_of(
    summaries: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, last_day: int, policy: Policy
) -> Cells:
    """Cells of all signal points up to ``last_day``; of several versions of a day the newest known counts."""
    signal = signal_points(points, bearings)
    names, found = pd.factorize(summaries["point_id"])
    position = np.append(pd.Index(signal["point_id"]).get_indexer(pd.Index(found)), -1)[names]
    day = day_number(summaries["date"])
    known_at = _instants(summaries["known_at"])
    cell = summaries["cell"].to_numpy(dtype=np.int64)
    taken = np.flatnonzero((position >= 0) & (day <= last_day))
    taken = taken[_newest(position[taken], day[taken], cell[taken], known_at[taken])]
    point, day, cell, known_at = position[taken].astype(np.int64), day[taken], cell[taken], known_at[taken]
    rows = _Columns(summaries, taken)
    quantity = signal["quantity"].to_numpy(dtype=object)
    warm = quantity == "temperature"
    codes, words = pd.factorize(summaries["fault"].fillna(""), sort=True)
    faults = np.append(np.asarray(words, dtype=object), "zero")  # the last: what has no logarithm
    code = codes[taken]
    good = (faults == "")[code]
    n = np.nan_to_num(rows.floats("n")).astype(np.int64)
    operating = _operating(rows, warm[point])
    median, within = rows.floats("median"), rows.floats("spread")
    level, spread = np.full(len(taken), np.nan), np.full(len(taken), np.nan)
    for name in SIGNALS:
        of = np.flatnonzero((quantity == name)[point])
        level[of] = to_scale(name, median[of])
        spread[of] = to_scale(name, median[of] + within[of]) - level[of]
    running = (cell >= 0) & (n > 0) & good
    speed = np.where(np.isnan(operating[:, 0]), signal["speed_rpm"].to_numpy()[point], operating[:, 0])
    slow = np.isin(quantity, LUBRICATION_SENSITIVE)[point] & (np.abs(speed) < policy.detection.slow_shaft_rpm)
    sound = running & ~slow & np.isfinite(level)
    kind = np.select(
        [sound, running & slow, running, good, np.isin(faults, list(NOT_TESTABLE))[code]],
        [SOUND, SLOW, FAULTY, STOPPED, UNTESTABLE],
        FAULTY,
    )
    code = np.where(kind == FAULTY, np.where(good, len(faults) - 1, code), code)
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
        coverage=rows.floats("coverage"),
        sound=sound,
        running=running,
        known_at=known_at,
        last_value=rows.floats("last_value"),
        last_time=_instants(summaries["last_time"])[taken],
        days=_days(point, day, kind, code, faults, np.nan_to_num(rows.floats("n_total"))),
    )


def _newest(point: Ints, day: Ints, cell: Ints, known_at: Ints) -> Ints:
    """Rows of the newest known version of each point's day, ordered by point, day and cell."""
    order = np.lexsort((known_at, cell, day, point))
    begins = np.append(True, (np.diff(point[order]) != 0) | (np.diff(day[order]) != 0))[: len(order)]
    newest = np.maximum.reduceat(known_at[order], np.flatnonzero(begins)) if len(order) else known_at
    order = order[known_at[order] == newest[np.cumsum(begins) - 1]]
    again = (np.diff(point[order]) == 0) & (np.diff(day[order]) == 0) & (np.diff(cell[order]) == 0)
    rows: Ints = order[np.append(~again, True)[: len(order)]]
    return rows


class _Columns:
    """Some rows of a table, a column at a time."""

    def __init__(self, table: pd.DataFrame, taken: Ints) -> None:
        self.table, self.taken = table, taken

    def floats(self, column: str) -> Floats:
        values: Floats = pd.to_numeric(self.table[column]).to_numpy(dtype=float, na_value=np.nan)[self.taken]
        return values


def _instants(times: pd.Series) -> Ints:
    utc = pd.to_datetime(times, utc=True).dt.tz_localize(None)
    instants: Ints = utc.to_numpy().astype("datetime64[us]").astype(np.int64)
    return instants


def _operating(rows: _Columns, lagged: Bools) -> Floats:
    """Speed, load and ambient of each cell; for temperature through its thermal lag, where that is known."""
    made = np.empty((len(lagged), 3))
    for v, (plain, late) in enumerate(
        (("speed_rpm", "speed_lagged_rpm"), ("load", "load_lagged"), ("ambient_degc", "ambient_lagged_degc"))
    ):
        now, then = rows.floats(plain), rows.floats(late)
        made[:, v] = np.where(lagged & np.isfinite(then), then, now)
    return made


def _weights(point: Ints, day: Ints, n: Ints, sound: Bools) -> Floats:
    if not len(point):
        return np.zeros(0)
    night = np.concatenate([[0], np.cumsum((np.diff(point) != 0) | (np.diff(day) != 0))])
    mass = np.where(sound, n, 0).astype(float)
    total = np.bincount(night, mass)[night]
    return np.where(total > 0, mass / np.maximum(total, 1), 0.0)


def _days(point: Ints, day: Ints, kind: Ints, code: Ints, faults: Any, total: Floats) -> pd.DataFrame:
    """One row per point and day with rows: what it could say, and the reason code where that is not a level.

    What decides comes first: the kind, then the fault with the most readings.
    """
    told = np.flatnonzero((total != 0) | (kind != STOPPED))
    order = told[np.lexsort((code[told], -total[told], kind[told], day[told], point[told]))]
    first = np.append(True, (np.diff(point[order]) != 0) | (np.diff(day[order]) != 0))[: len(order)]
    order = order[first]
    reason = pd.Series(faults[code[order]], dtype=object)
    return pd.DataFrame({"point": point[order], "day": day[order], "kind": kind[order], "reason": reason})
