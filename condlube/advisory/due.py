"""Until when each call has to be seen to: the dates of a decision."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.situation import Situation
from condlube.advisory.turn import ahead, reaches, turn
from condlube.assessment.evidence import Evidence
from condlube.assessment.nights import Days
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS


def due(
    night: Days, context: FloatArray, evidence: Evidence, s: Situation, applied: BoolArray, call: IntArray,
    life: pd.DataFrame, within_days: FloatArray, policy: Policy,
) -> pd.DataFrame:  # fmt: skip
    """Columns due_date, due_early and due_late.

    Hold: when the call turns, with the interval and the slope taken at either end of their range. Grease: now, at the
    latest within the days that the leading evidence allows, and before the call turns to another. Inspect: within the
    days that the P-F interval of the leading evidence allows.
    """
    hold, grease = call == ACTIONS.index("hold"), call == ACTIONS.index("grease")
    spread = policy.due.interval_spread
    days: dict[str, FloatArray] = {}
    likely = reaches(guards.most_x(s, policy), life)
    for name, wanted, slope, faster in (
        ("due_date", hold, "slope", 1.0),
        ("due_early", hold, "slope_high", spread),
        ("due_late", hold | grease, "slope_low", 1.0 / spread),
    ):
        after = np.where(hold, days["due_date"], 0.0) if name == "due_late" else np.zeros(len(call))
        going = ahead(life, evidence, slope, faster)
        days[name] = turn(wanted, context, evidence, s, applied, call, going, policy, night, after, likely / faster)
        likely = days["due_date"]
    days["due_date"] = np.where(grease, 1.0, np.where(hold, days["due_date"], 1.0 + within_days))
    days["due_early"] = np.where(hold, np.minimum(days["due_early"], days["due_date"]), 1.0)
    latest = np.where(grease, np.minimum(days["due_late"], 1.0 + within_days), days["due_late"])
    days["due_late"] = np.where(hold | grease, np.maximum(latest, days["due_date"]), days["due_date"])
    return pd.DataFrame({name: _dates(night, ahead_d) for name, ahead_d in days.items()})


def _dates(night: Days, days: FloatArray) -> pd.Series:
    there = np.isfinite(days)
    dates = night + np.where(there, days, 0).astype("timedelta64[D]")
    return pd.Series(np.where(there, dates, np.datetime64("NaT", "D")).astype("datetime64[us]"))
