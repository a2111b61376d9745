"""From when on the count of grease life needs the record: what a night, or a replay, has to read of it."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from condlube.assessment.greasings import greasings, times, told_of
from condlube.assessment.nights import Days
from condlube.register.model import Site


def count_begins(bearings: pd.DataFrame, events: pd.DataFrame, site: Site) -> date | None:
    """The first date whose summaries a night that sees ``events``, or any later one, can need; None: all of them."""
    begins = begins_of(bearings, events, site)
    if np.isnat(begins).any() or not len(begins):
        return None
    begun: date = begins.min().astype(object)
    return begun


def begins_of(bearings: pd.DataFrame, events: pd.DataFrame, site: Site) -> Days:
    """The same for each bearing; NaT: all of them.

    Every bearing's last greasing is taken for one without effect, which a later night may find it to be.
    """
    last = events[events["kind"] == "relubrication"].groupby("bearing_id")["time"].max()
    which = pd.Index(bearings["bearing_id"]).get_indexer(last.index)
    without = pd.DataFrame({"which": which, "when": times(last)})
    start = greasings(bearings, told_of(bearings, events), without, site).start
    return np.asarray(start.astype("datetime64[D]") - np.timedelta64(1, "D"), dtype="datetime64[D]")
