"""The analyst's word: what the last verdict on a bearing asks of the coming nights, and until when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from condlube.assessment.evidence import Evidence
from condlube.assessment.greasings import TimeArray, times
from condlube.assessment.sources import LEVELS, OTHERS
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

_DAY = "datetime64[D]"


@dataclass(frozen=True)
class Word:
    """Until which night each action is asked for [rows]; NaT where it is not, or no longer."""

    hold: TimeArray
    grease: TimeArray
    inspect: TimeArray


def word(reviews: pd.DataFrame, evidence: Evidence, greased: TimeArray, inspected: TimeArray, policy: Policy) -> Word:
    """The word of the last review of each row.

    A deferral asks to hold until its date; a change asks for its call until it is carried out, at most for the days
    of the policy. Both end when the evidence of damage or supply fault rises.

    Parameters
    ----------
    reviews
        Name the row that sees them in ``which``. They may carry ``bits_damaged`` and ``bits_supply_fault``: what the
        evidence added up to on the night that the analyst had before them. Without them a rise that began after the
        review ends the word.
    greased, inspected
        When each row was last greased and inspected, NaT where never.
    """
    if "supersedes" in reviews:
        taken_back = pd.MultiIndex.from_frame(reviews[["which", "supersedes"]].dropna())
        reviews = reviews[~pd.MultiIndex.from_frame(reviews[["which", "review_id"]]).isin(taken_back)]
    last = reviews.sort_values(["time", "review_id"]).drop_duplicates("which", keep="last")
    last = last[last["verdict"].isin(("defer", "change"))]
    last = last[~_risen(last, evidence, policy)]
    at, said = last["which"].to_numpy(dtype=np.int64), times(last["time"])
    days = np.timedelta64(round(policy.guard.deferred.change_days), "D")
    put_off = (last["verdict"] == "defer").to_numpy()
    dated = pd.to_datetime(last["defer_until"]).to_numpy().astype(_DAY)
    until = np.where(put_off, dated, said.astype(_DAY) + days)
    call = np.where(put_off, "hold", last["call"].to_numpy(dtype=object))
    done = {"hold": np.zeros(len(at), dtype=np.bool_), "grease": greased[at] > said, "inspect": inspected[at] > said}
    made = {action: np.full(len(greased), np.datetime64("NaT", "D")) for action in ACTIONS}
    for action, over in done.items():
        stands = (call == action) & ~over
        made[action][at[stands]] = until[stands]
    return Word(**made)


def _risen(last: pd.DataFrame, evidence: Evidence, policy: Policy) -> BoolArray:
    """Whether the evidence has risen since each review."""
    at = last["which"].to_numpy(dtype=np.int64)
    total = evidence.totals
    risen = np.zeros(len(last), dtype=np.bool_)
    known = np.zeros(len(last), dtype=np.bool_)
    for name in ("damaged", "supply_fault"):
        state, column = OTHERS.index(name), f"bits_{name}"
        if column in last:
            before = last[column].to_numpy(dtype=np.float64, na_value=np.nan)
            known |= ~np.isnan(before)
            risen |= total[at, state] >= before + policy.guard.deferred.rise_bits
    levels = evidence.row[at][:, : len(LEVELS)]
    began = pd.to_datetime(evidence.deviations["onset_date"]).to_numpy().astype(_DAY)
    began = np.r_[began, np.datetime64("NaT", "D")]
    later = (began[levels] > times(last["time"]).astype(_DAY)[:, None]).any(axis=1)
    return np.asarray(risen | (~known & later))
