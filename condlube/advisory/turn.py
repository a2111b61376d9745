"""When a call turns if nothing changes: grease life goes on being used up, and a rise goes on rising."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.cost import cheapest
from condlube.advisory.guard_codes import TIMED
from condlube.advisory.situation import Situation
from condlube.assessment.ahead import ahead_all, odds_all
from condlube.assessment.evidence import Evidence
from condlube.assessment.nights import Days
from condlube.assessment.rules import costs, rules
from condlube.assessment.sources import LEVELS, FloatArray, IntArray, tables
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

STEPS_D = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 1024.0, 2048.0)
"""Days ahead at which the call is asked; between two of them it is then halved down to the day."""
_ABOUT = (1.0, 3.0)  # days before a guess at which the call is likely to stand still
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

    def take(self, rows: IntArray) -> Ahead:
        """Some of the rows."""
        return Ahead(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


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


def reaches(x: FloatArray, life: pd.DataFrame) -> FloatArray:
    """Days after which the share used up is first larger than ``x``, calendar caps left aside; inf where it is not."""
    now, per_d = (life[name].to_numpy(dtype=np.float64) for name in ("x", "rate_per_d"))
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        days = np.floor((x - now) / per_d) + 1.0
    return np.where(days > 0, days, np.inf)


_CARRIED = ("x", "rate_per_d", "x_calendar", "calendar_rate_per_d", "interval_h")


def _slopes(evidence: Evidence, column: str) -> FloatArray:
    """A slope column of the deviations that speak [bearings, level sources]; NaN where none does."""
    values = np.r_[evidence.deviations[column].to_numpy(dtype=np.float64, na_value=np.nan), np.nan]
    return np.asarray(values[evidence.row[:, : len(LEVELS)]])


def turn(
    wanted: BoolArray, context: FloatArray, evidence: Evidence, s: Situation, applied: BoolArray, call: IntArray,
    going: Ahead, policy: Policy, night: Days, after: FloatArray, guess: FloatArray,
) -> FloatArray:  # fmt: skip
    """Days until another action is the cheapest that the guards leave, for the bearings wanted; inf beyond the horizon.

    ``after`` [bearings]: days up to which the call is known to stand, inf where it is not asked. ``guess`` [bearings]
    saves questions where it proves right: days, inf where there is none.
    """
    rows = np.flatnonzero(wanted & np.isfinite(after))
    lasting = applied[rows]
    lasting[:, [guards.CODES.index(code) for code in TIMED]] = False
    then = _Then(context[rows], evidence.values[rows], odds_all(evidence.totals[rows]), s.take(rows),
                 guards.taken(lasting) @ _BIT, going.take(rows), night[rows], policy)  # fmt: skip
    days = np.full(len(call), np.inf)
    days[rows] = _first_other(then, call[rows], after[rows], guess[rows], float(policy.due.horizon_days))
    return days


def _first_other(
    then: _Then, call: IntArray, after: FloatArray, guess: FloatArray, horizon: float
) -> FloatArray:  # fmt: skip
    """Days until the call is first another; inf beyond the horizon."""
    low, high = _about(then, call, after, guess, horizon)
    for before, step in pairwise([*(d for d in STEPS_D if d < horizon), horizon]):
        at = np.flatnonzero(np.isinf(high) & (step > after))
        hit = at[then.call(at, np.full(len(at), step)) != call[at]]
        low[hit], high[hit] = before, step
    low = np.maximum(low, after)
    while len(at := np.flatnonzero(np.isfinite(high) & (high - low > 1.0))):
        middle = np.ceil((low[at] + high[at]) / 2)
        turned = then.call(at, middle) != call[at]
        high[at[turned]] = middle[turned]
        low[at[~turned]] = middle[~turned]
    return high


def _about(
    then: _Then, call: IntArray, after: FloatArray, guess: FloatArray, horizon: float
) -> tuple[FloatArray, FloatArray]:
    """Days about the guess between which the call turns; 0 and inf where it does not."""
    low, high = np.zeros(len(call)), np.full(len(call), np.inf)
    last = np.ceil(guess)
    at = np.flatnonzero((last <= horizon) & (last > after))
    at = at[then.call(at, last[at]) != call[at]]
    for days in _ABOUT:
        first = np.maximum(last[at] - days, after[at])
        stands = then.call(at, first) == call[at]
        low[at[stands]], high[at[stands]] = first[stands], last[at[stands]]
        at = at[~stands]
    return low, high


@dataclass(frozen=True)
class _Then:
    """Tonight's facts of some rows, from which their calls in days to come are asked; ``taken`` are the actions that
    the guards take away whose answer time does not change."""

    context: FloatArray
    values: FloatArray
    odds: FloatArray
    s: Situation
    taken: npt.NDArray[np.uint8]
    going: Ahead
    night: Days
    policy: Policy

    @cached_property
    def rising(self) -> BoolArray:
        """Where a deviation goes on rising."""
        return np.asarray((self.going.slope_per_d != 0).any(axis=1))

    def call(self, at: IntArray, days: FloatArray) -> IntArray:
        """The call of the rows ``at`` so many days on."""
        later, night, going = self._situation(at, days), self.night[at], self.going
        gone = self.taken[at]
        for code in TIMED:
            gone |= guards.GUARDS[code](later, self.policy, night) * _TAKEN[code]
        for code, stands in guards.words(later, self.policy, night).items():
            gone[stands] = _TAKEN[code]
        used, ran_h = np.nan_to_num(later.x - going.x[at]), going.running_h_per_d[at] * days
        cost = ahead_all(self.context, self.values, self.odds, going.slope_per_d, self.rising, at, days, used,
                                ran_h, tables(self.policy), rules(self.policy), costs(self.policy))  # fmt: skip
        return cheapest(cost, _LEFT[gone])

    def _situation(self, at: IntArray, days: FloatArray) -> Situation:
        """The situation so many days on. What rises is not quiet; who waits for the survey has his turn; what is up
        and unexplained has been so for longer."""
        now = self.s.take(at)
        on = np.ceil(days).astype("timedelta64[D]")
        return replace(
            now,
            quiet=now.quiet & ~self.rising[at],
            unsettled=np.where(now.unexplained_in_d <= days, "unexplained", now.unsettled),
            survey_week=now.survey_in_d <= days,
            inspected_d=now.inspected_d + days,
            x=self.going.x_after(at, days),
            running_h=now.running_h + self.going.running_h_per_d[at] * days,
            days=now.days + days,
            deferred_until=now.deferred_until - on,
            grease_until=now.grease_until - on,
            inspect_until=now.inspect_until - on,
        )
