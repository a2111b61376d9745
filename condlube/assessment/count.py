"""From when on the count of grease life needs the record: what a night, or a replay, has to read of it."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from condlube.assessment.greasings import greasings, times, told_of
from condlube.assessment.nights import Days
from condlube.lubrication.result import BoolArray
from condlube.register.model import Site

EVER = pd.Timestamp("1900-01-01")
"""Before every record."""


def begins_of(bearings: pd.DataFrame, events: pd.DataFrame, site: Site) -> Days:
    """The first date of each bearing whose summaries a night that sees ``events``, or a later one, can need.

    NaT: all of them.
    Every bearing's last greasing is taken for one without effect, which a later night may find it to be.
    """
    last = events[events["kind"] == "relubrication"].groupby("bearing_id")["time"].max()
    which = pd.Index(bearings["bearing_id"]).get_indexer(last.index)
    without = pd.DataFrame({"which": which, "when": times(last)})
    start = greasings(bearings, told_of(bearings, events), without, site).start
    return np.asarray(start.astype("datetime64[D]") - np.timedelta64(1, "D"), dtype="datetime64[D]")


def point_begins(bearings: pd.DataFrame, points: pd.DataFrame, events: pd.DataFrame, site: Site) -> pd.Series:
    """From when on each point's summaries tell of a count of grease life; those of a machine from its earliest.

    ``EVER`` where all of them do; points of no bearing of the register are left out.
    """
    begins = pd.Series(begins_of(bearings, events, site), dtype="datetime64[us]").fillna(EVER)
    of_bearing = begins.set_axis(bearings["bearing_id"])
    of_machine = begins.groupby(bearings["machine_id"]).min()
    unique = points.drop_duplicates("point_id")
    own, shared = (
        begin.reindex(unique[name]).to_numpy("datetime64[us]")
        for begin, name in ((of_bearing, "bearing_id"), (of_machine, "machine_id"))
    )
    return pd.Series(np.where(np.isnat(own), shared, own), index=unique["point_id"]).dropna()


def since_begins(point_ids: pd.Series, dates: Days, begins: pd.Series) -> BoolArray:
    """Which rows of the usage lie on or after the ``begins`` of their points; other points have none."""
    own, ids = pd.factorize(point_ids)
    begun = np.append(begins.reindex(ids).to_numpy("datetime64[D]"), np.datetime64("NaT", "D"))[own]
    return np.asarray(dates.astype("datetime64[D]") >= begun)


def earliest(begins: pd.Series) -> date | None:
    """The first of the ``begins``; None: all of the record."""
    first = begins.min()
    return None if pd.isna(first) or first == EVER else first.date()
