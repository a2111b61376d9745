"""What the newest day of each point could say, before any comparison."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection.series import FAULTY, SLOW, SOUND, STOPPED, Cells
from condlube.manipulation.kernel import Bools, Ints, first_at_least, starts_of
from condlube.policy.model import Policy
from condlube.schema.words import EVIDENCE_STATUSES


def states_of(cells: Cells, nights: Ints, policy: Policy) -> pd.DataFrame:
    """A row for every valid point and night: point, day, newest (day with anything to say, -1: none), status, reason.

    Also what needs no comparison: sound_nights, coverage, level_now, level_time, window_to.
    """
    points = cells.points
    point = np.tile(np.arange(len(points)), len(nights))
    night = np.repeat(nights, len(points))
    valid = (_bound(points["valid_from"], -(10**9))[point] <= night) & (
        night <= _bound(points["valid_to"], 10**9)[point]
    )
    point, night = point[valid], night[valid]
    days = cells.days
    at = within(days["point"].to_numpy(), days["day"].to_numpy(), point, night)
    kind, newest = (np.append(days[c].to_numpy(), -1)[at] for c in ("kind", "day"))
    quality = np.append(days["reason"].to_numpy(dtype=object), "")[at]
    allowed = np.where(
        points["route"].to_numpy()[point], policy.detection.stale_route_days, policy.detection.stale_days
    )
    cases = [at < 0, night - newest > allowed, kind == SLOW, kind == STOPPED, kind == SOUND, kind == FAULTY]
    case = np.select(cases, list(range(len(cases))), len(cases))
    statuses = ("absent", "stale", "not_testable", "not_testable", "assessed", "faulty", "not_testable")
    number = np.array([EVIDENCE_STATUSES.index(word) for word in statuses])
    words = ("no_readings", "no_recent_readings", "slow_shaft", "stopped", "")
    reason = np.where(case < len(words), np.array([*words, None], dtype=object)[np.minimum(case, len(words))], quality)
    sound = days[days["kind"] == SOUND]
    lately = sum(
        _present(sound["point"].to_numpy(), sound["day"].to_numpy(), point, night - back).astype(np.int64)
        for back in range(3)
    )
    order = np.lexsort((cells.last_time, cells.day, cells.point))
    order = order[cells.running[order]]
    last = within(cells.point[order], cells.day[order], point, night)
    cell = np.append(order, -1)[last]
    heard = cell >= 0
    of_newest = heard & (np.append(cells.day, -1)[cell] == newest)
    return pd.DataFrame({
        "point": point,
        "day": night,
        "newest": newest,
        "status": pd.Categorical.from_codes(number[case], list(EVIDENCE_STATUSES)),
        "reason": pd.Series(reason, dtype=object),
        "sound_nights": lately,
        "coverage": np.where(of_newest, np.append(cells.coverage, 0.0)[cell], np.nan),
        "level_now": np.where(heard, np.append(cells.last_value, 0.0)[cell], np.nan),
        "level_time": _times(np.append(cells.last_time, 0)[cell], heard),
        "window_to": _times(np.append(cells.last_time, 0)[cell], of_newest),
    })  # fmt: skip


def within(points: Ints, days: Ints, point: Ints, day: Ints) -> Ints:
    """Row of the newest entry of ``point`` up to ``day``; -1: none. Entries are ordered by point and day."""
    start = starts_of(points, max(int(points.max(initial=-1)), int(point.max(initial=-1))) + 1)
    first = start[point]
    last = first_at_least(days.astype(np.int64), first, start[point + 1], day + 1) - 1  # a column may be read-only
    return np.where(last >= first, last, -1)


def _present(points: Ints, days: Ints, point: Ints, day: Ints) -> Bools:
    found: Bools = np.append(days, -1)[within(points, days, point, day)] == day
    return found


def _bound(dates: pd.Series, open_: int) -> Ints:
    times = pd.to_datetime(dates)
    return np.where(times.isna(), open_, times.to_numpy().astype("datetime64[D]").astype(np.int64))


def _times(instants: Ints, known: Bools) -> pd.DatetimeIndex:
    times = np.where(known, instants.astype("datetime64[us]"), np.datetime64("NaT", "us"))
    return pd.DatetimeIndex(times).tz_localize("UTC")
