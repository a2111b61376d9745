"""What a past night could see of a history that has gone on since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from itertools import pairwise
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.assessment.greasings import TimeArray, instant, times
from condlube.manipulation.kernel import Bools
from condlube.schema.nights import as_of


class History(Protocol):
    """A plant's history as it stands today, every version of every row with the instant at which it became known.

    ``events`` and ``reviews`` are tables of the schema in order of commit, corrections and what they correct included.
    """

    @property
    def events(self) -> pd.DataFrame: ...

    @property
    def reviews(self) -> pd.DataFrame: ...

    def summaries(
        self, first: date | pd.Series | None, last: date, known_by: datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Every version of the summaries of those dates that was known by an instant.

        ``first`` is the first date, None: from the beginning, or the first of each point (a column of instants by
        point; other points are left out).
        """
        ...


def events_seen(events: pd.DataFrame, end: datetime, known_by: datetime) -> pd.DataFrame:
    """Events before ``end`` known by ``known_by``, without those that a known correction supersedes.

    The rule of the nightly run, on a frame: a correction counts even when it moves the event to after ``end``, of
    several corrections of one event the newest holds, and ``withdrawn`` events only take back.
    """
    known = events[events["known_at"] <= known_by]
    corrects = known["supersedes"].fillna("") != ""
    if corrects.any():
        corrections = known[corrects]
        newest = dict(zip(corrections["supersedes"], corrections["event_id"], strict=True))
        holds = ~corrects | (known["supersedes"].map(newest) == known["event_id"])
        known = known[holds & ~known["event_id"].isin(set(newest))]
    return known[(known["time"] < end) & (known["kind"] != "withdrawn")].reset_index(drop=True)


def kept(rows: pd.DataFrame, held: Bools) -> pd.DataFrame:
    """The rows that are ``held``; the same table where that is all of them: copies take time."""
    return rows if held.all() else rows[held].reset_index(drop=True)


def newest_versions(summaries: pd.DataFrame) -> pd.DataFrame:
    """Of several versions of a point's day the newest known, with all its cells."""
    if not summaries.duplicated(["point_id", "date", "cell"]).any():
        return summaries
    newest = summaries.groupby(["point_id", "date"])["known_at"].transform("max")
    return summaries[summaries["known_at"] == newest].reset_index(drop=True)


def segments(
    nights: Sequence[date], known_by: Mapping[date, datetime], zone: ZoneInfo, summaries: pd.DataFrame,
    events: pd.DataFrame,
) -> list[list[date]]:  # fmt: skip
    """Nights in runs within which nothing became known late.

    Within a run every night sees of its past what the last night of the run sees of it, so that one pass over the run
    gives what a pass each night would have given.
    """
    if not len(nights):
        return []
    ends = np.array([instant(as_of(n, zone)) for n in nights])
    by = np.array([instant(known_by[n]) for n in nights])
    if (np.diff(by) < np.timedelta64(0)).any():
        return [[night] for night in nights]
    dates = np.array(nights, dtype="datetime64[D]")
    of_day = pd.to_datetime(summaries["date"]).to_numpy().astype("datetime64[D]")
    turns = _late(np.searchsorted(dates, of_day), by, times(summaries["known_at"]), np.zeros(len(of_day), dtype=bool))
    corrects = (events["supersedes"].fillna("") != "").to_numpy()
    due = np.searchsorted(ends, times(events["time"]), side="right")
    turns |= _late(due, by, times(events["known_at"]), corrects)
    bounds = [0, *sorted(t for t in turns if 0 < t < len(nights)), len(nights)]
    return [list(nights[a:b]) for a, b in pairwise(bounds)]


def _late(due: np.ndarray, by: TimeArray, known_at: TimeArray, anyway: np.ndarray) -> set[int]:
    """Nights on which rows are first seen that came after the night they belong to, ``due``."""
    first = np.searchsorted(by, known_at, side="left")
    return set(np.maximum(first, due)[(first > due) | anyway].tolist())
