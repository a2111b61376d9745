"""Of the summaries only what tells how long and how hot each bearing ran since its count of grease life began."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd

from condlube.assessment.greasings import greasings, times, told_of
from condlube.backtest.seen import events_seen
from condlube.chain import Plant

USAGE = ("point_id", "date", "cell", "known_at", "running_h", "speed_rpm", "octiles")


def count_begins(plant: Plant, events: pd.DataFrame, first: datetime, known_by: datetime) -> date | None:
    """The first date whose summaries any night from ``first`` on can need; None: all of them.

    Every bearing's last greasing is taken for one without effect, which a later night may find it to be. Where an event
    of the span corrects another, anything may be needed.
    """
    if (events["supersedes"].fillna("") != "").any():
        return None
    seen = events_seen(events, first, known_by)
    last = seen[seen["kind"] == "relubrication"].groupby("bearing_id")["time"].max()
    which = pd.Index(plant.bearings["bearing_id"]).get_indexer(last.index)
    without = pd.DataFrame({"which": which, "when": times(last)})
    start = greasings(plant.bearings, told_of(plant.bearings, seen), without, plant.register.site).start
    if np.isnat(start).any() or not len(start):
        return None
    begun: date = start.min().astype("datetime64[D]").astype(object)
    return begun - timedelta(days=1)


def speaking(usage: pd.DataFrame, plant: Plant) -> pd.DataFrame:
    """The usage without points of which, on every night that sees them, a temperature of the same bearing speaks."""
    points = plant.points
    warm = set(points.loc[(points["quantity"] == "temperature") & points["bearing_id"].notna(), "point_id"])
    bearing = usage["point_id"].map(points.set_index("point_id")["bearing_id"])
    is_warm = usage["point_id"].isin(warm)
    temperatures = pd.DataFrame({
        "bearing": bearing, "date": usage["date"], "known_at": usage["known_at"], "said": usage["octiles"].notna(),
    })[is_warm]  # fmt: skip
    days = temperatures.groupby(["bearing", "date"]).agg(known_at=("known_at", "min"), said=("said", "all"))
    since = days.loc[days["said"], "known_at"]
    theirs = times(since.reindex(pd.MultiIndex.from_arrays([bearing, usage["date"]])))
    spoken_for = ~is_warm.to_numpy() & (theirs <= times(usage["known_at"]))
    return usage[~spoken_for].reset_index(drop=True)
