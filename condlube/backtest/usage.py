"""Of the summaries only what tells how long and how hot each bearing ran since its count of grease life began."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd

from condlube.assessment.clock import USAGE_COLUMNS
from condlube.assessment.count import EVER, point_begins
from condlube.assessment.greasings import times
from condlube.backtest.seen import events_seen, kept
from condlube.chain import Plant

USAGE = ("known_at", *USAGE_COLUMNS)


def usage_begins(plant: Plant, events: pd.DataFrame, first: datetime, known_by: datetime) -> pd.Series:
    """From when on any night from ``first`` on can need the summaries of each point.

    Where an event of the span corrects another, anything may be needed.
    """
    seen = events_seen(events, first, known_by)
    begins = point_begins(plant.bearings, plant.points, seen, plant.register.site)
    corrects = (events["supersedes"].fillna("") != "").any()
    return pd.Series(EVER, index=begins.index) if corrects else begins


def speaking(usage: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """The usage without points of which, on every night that sees them, a temperature of the same bearing speaks."""
    points = plant.points.drop_duplicates("point_id").set_index("point_id")
    which, ids = pd.factorize(usage["point_id"])
    bearing = pd.factorize(points["bearing_id"].reindex(ids))[0][which]
    warm = (points["quantity"].reindex(ids) == "temperature").to_numpy(dtype=np.bool_)[which]
    bearing_day = bearing * np.int64(10**7) + times(usage["date"]).astype("datetime64[D]").astype(np.int64)
    known_at, said = times(usage["known_at"]), usage["octiles"].notna().to_numpy()
    heard = np.flatnonzero(warm & (bearing >= 0))
    heard = heard[np.argsort(bearing_day[heard], kind="stable")]
    begins = np.flatnonzero(np.diff(bearing_day[heard], prepend=-1))
    if not len(heard):
        return usage
    told = np.logical_and.reduceat(said[heard], begins)
    since = np.minimum.reduceat(known_at[heard], begins)[told]
    day = bearing_day[heard[begins]][told]
    at = np.searchsorted(day, bearing_day)
    theirs = np.append(day, -1)[at] == bearing_day
    spoken_for = ~warm & theirs & (np.append(since, np.datetime64("NaT"))[at] <= known_at)
    return kept(usage, ~spoken_for)
