"""When the call turns if nothing changes: grease life goes on being used up, and a rise goes on rising."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.cost import cheapest
from condlube.advisory.guard_codes import TIMED
from condlube.advisory.situation import Situation
from condlube.assessment import kernel
from condlube.assessment.evidence import Evidence
from condlube.assessment.nights import Days
from condlube.assessment.rules import costs, rules
from condlube.assessment.sources import LEVELS, FloatArray, IntArray, tables
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

STEPS_D = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 1024.0, 2048.0)
"""Days ahead at which the call is asked; between two of them it is then halved down to the day."""
_BIT = (1 << np.arange(len(ACTIONS))).astype(np.uint8)
_TAKEN = {code: np.uint8(taken @ _BIT) for code, taken in guards.TAKEN.items()}
"""Per guard, which actions it takes away, a bit for each."""
_LEFT = guards.left((np.arange(1 << len(ACTIONS))[:, None] & _BIT) > 0)
"""Which actions are left where those of the bits are taken away."""


@dataclass(frozen=True)
class Ahead:
    """What is carried on into the future, per bearing: x and its rate per day, the same of the calendar cap, running
    hours per day; and per bearing and level source the slope of its deviation per day."""

    x: FloatArray
    x_per_d: FloatArray
    x_calendar: FloatArray
    calendar_per_d: FloatArray
    running_h_per_d: FloatArray
    slope_per_d: FloatArray

    def x_after(self, at: IntArray, days: FloatArray) -> FloatArray:
        """x of bearings ``at`` so many days on."""
        by_calendar = self.x_calendar[at] + self.calendar_per_d[at] * days
        return np.asarray(np.maximum(self.x[at] + self.x_per_d[at] * days, by_calendar))


@dataclass(frozen=True)
class Turn:
    """Days until the call turns (inf beyond the horizon), and to what (position in ``words.ACTIONS``)."""

    days: FloatArray
    action: IntArray


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
    for name, wanted, slope, faster in (
        ("due_date", hold, "slope", 1.0),
        ("due_early", hold, "slope_high", spread),
        ("due_late", hold | grease, "slope_low", 1.0 / spread),
    ):
        going = ahead(life, evidence, slope, faster)
        after = np.where(grease, 0.0, days["due_date"]) if name == "due_late" else None
        days[name] = turn(wanted, context, evidence, s, applied, call, going, policy, night, after).days
    days["due_date"] = np.where(grease, 1.0, np.where(hold, days["due_date"], 1.0 + within_days))
    days["due_early"] = np.where(hold, np.minimum(days["due_early"], days["due_date"]), 1.0)
    latest = np.where(grease, np.minimum(days["due_late"], 1.0 + within_days), days["due_late"])
    days["due_late"] = np.where(hold | grease, np.maximum(latest, days["due_date"]), days["due_date"])
    return pd.DataFrame({name: _dates(night, ahead_d) for name, ahead_d in days.items()})


def _dates(night: Days, days: FloatArray) -> pd.Series:
    there = np.isfinite(days)
    dates = night + np.where(there, days, 0).astype("timedelta64[D]")
    return pd.Series(np.where(there, dates, np.datetime64("NaT", "D")).astype("datetime64[us]"))


def turn(
    wanted: BoolArray, context: FloatArray, evidence: Evidence, s: Situation, applied: BoolArray, call: IntArray,
    ahead: Ahead, policy: Policy, night: Days, after: FloatArray | None = None,
) -> Turn:  # fmt: skip
    """First day on which another action is the cheapest that the guards leave, for the bearings wanted.

    ``after`` [bearings]: days up to which the call is known to stand.
    """
    horizon = float(policy.due.horizon_days)
    steps = np.array([d for d in STEPS_D if d < horizon] + [horizon])
    low, high = np.zeros(len(call)), np.full(len(call), np.inf)
    after = low if after is None else after
    waiting = np.asarray(wanted & np.isfinite(after))
    turned = np.full(len(call), -1)
    fixed = applied.copy()
    fixed[:, [guards.CODES.index(code) for code in TIMED]] = False
    taken = guards.taken(fixed) @ _BIT
    odds = kernel.odds_all(evidence.bits.sum(axis=1))
    rising = (ahead.slope_per_d != 0).any(axis=1)

    def asked(at: IntArray, days: FloatArray) -> IntArray:
        later = _later(s, at, days, ahead, rising)
        gone = taken[at]
        for code in TIMED:
            gone |= guards.GUARDS[code](later, policy, night[at]) * _TAKEN[code]
        for code, stands in guards.words(later, policy, night[at]).items():
            gone[stands] = _TAKEN[code]
        used, ran_h = np.nan_to_num(later.x - ahead.x[at]), ahead.running_h_per_d[at] * days
        cost = kernel.ahead_all(context, evidence.values, odds, ahead.slope_per_d, rising, at, days, used, ran_h,
                                tables(policy), rules(policy), costs(policy))  # fmt: skip
        return cheapest(cost, _LEFT[gone])

    for before, step in pairwise(steps):
        at = np.flatnonzero(waiting & (step > after))
        if not len(at):
            continue
        answer = asked(at, np.full(len(at), step))
        hit = at[answer != call[at]]
        low[hit], high[hit], waiting[hit] = before, step, False
        turned[hit] = answer[answer != call[at]]
    low = np.where(np.isfinite(after), np.maximum(low, after), 0.0)
    while len(at := np.flatnonzero(np.isfinite(high) & (high - low > 1.0))):
        middle = np.ceil((low[at] + high[at]) / 2)
        answer = asked(at, middle)
        hits = answer != call[at]
        high[at[hits]], turned[at[hits]] = middle[hits], answer[hits]
        low[at[~hits]] = middle[~hits]
    return Turn(high, turned)


def _later(s: Situation, at: IntArray, days: FloatArray, ahead: Ahead, rising: BoolArray) -> Situation:
    """The situation so many days on. What rises is not quiet; who waits for the survey has his turn; what is up
    and unexplained has been so for longer."""
    taken = {name: getattr(s, name)[at] for name in s.__dataclass_fields__}
    taken["quiet"] = taken["quiet"] & ~rising[at]
    taken["unsettled"] = np.where(taken["unexplained_in_d"] <= days, "unexplained", taken["unsettled"])
    taken["survey_week"] = taken["survey_in_d"] <= days
    taken["inspected_d"] = taken["inspected_d"] + days
    taken["x"] = ahead.x_after(at, days)
    taken["running_h"] = taken["running_h"] + ahead.running_h_per_d[at] * days
    taken["days"] = taken["days"] + days
    for name in ("deferred_until", "grease_until", "inspect_until"):
        taken[name] = taken[name] - np.ceil(days).astype("timedelta64[D]")
    return Situation(**taken)


def ahead(life: pd.DataFrame, evidence: Evidence, column: str, faster: float = 1.0) -> Ahead:
    """What goes on: the recent rates, and the slopes of deviations that rise for sure.

    ``column`` says which end of the slope; ``faster`` how much faster than calculated grease life is used up.
    """
    number = {name: life[name].to_numpy(dtype=np.float64) for name in _CARRIED}
    rising = _slopes(evidence, "slope_low") > 0
    slope = np.where(rising, _slopes(evidence, column), 0.0) / 30.0
    hours = np.nan_to_num(np.minimum(number["rate_per_d"] * number["interval_h"], 24.0))
    return Ahead(
        number["x"], number["rate_per_d"] * faster, number["x_calendar"], number["calendar_rate_per_d"], hours, slope
    )


_CARRIED = ("x", "rate_per_d", "x_calendar", "calendar_rate_per_d", "interval_h")


def _slopes(evidence: Evidence, column: str) -> FloatArray:
    """A slope column of the deviations that speak [bearings, level sources]; NaN where none does."""
    values = np.r_[evidence.deviations[column].to_numpy(dtype=np.float64, na_value=np.nan), np.nan]
    return np.asarray(values[evidence.row[:, : len(LEVELS)]])
