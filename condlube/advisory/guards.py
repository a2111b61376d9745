"""The guards: each takes actions away, none adds one. The cheapest of what is left is the call.

Every guard is a function of the situation with its parameters in the policy; its code is its name. What it means and
says stands in ``explain``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from condlube.advisory.guard_codes import ASKED, TAKES
from condlube.advisory.situation import SEVERE, Situation
from condlube.assessment.nights import Days
from condlube.assessment.sources import FloatArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

Applies = Callable[[Situation, Policy, Days], BoolArray]


def absolute_limit(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Vibration zone D, trip or the grease's temperature limit on the last running readings: urgent."""
    return s.limit_passed


def replacement_window(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Past the life of grease that cannot be renewed, and nothing speaks for a fault: a replacement to plan, no walk
    every night."""
    past = s.not_greasable & (s.x >= policy.guard.replacement_window.from_x)
    return np.asarray(past & s.quiet & ~long_overdue(s, policy, night))


def grease_mismatch(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The grease inside is unknown, or must not meet the assigned one untested."""
    return np.asarray(s.mismatch != "")


def history_unknown(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Nobody knows when an older machine was greased: a survey, in its week; one recorded inspection closes it."""
    return s.unknown_history & ~s.surveyed & s.survey_week & ~s.not_greasable


def survey_waits(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The same in the other weeks, and a bearing that would be far overdue by a start that nobody recorded as a
    greasing: neither grease nor alarm before its survey."""
    untold = s.unknown_history | (s.never_recorded & (s.x > policy.guard.long_overdue.x))
    return np.asarray(untold & ~s.surveyed & ~s.survey_week & ~s.not_greasable)


def outside_range(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """No published method gives an interval here: an engineer has to look once."""
    return s.no_interval & ~s.surveyed & ~s.not_greasable


def stopped(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The machine is isolated or stands."""
    return s.stopped


def idle(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The machine stands and nothing speaks for a fault: its bearings are seen to when it runs again."""
    return np.asarray(s.stopped & s.quiet & ~s.limit_passed)


def just_greased(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Grease was put in a short while ago: no second dose."""
    p = policy.guard.just_greased
    within_h = np.fmax(p.interval_share * s.interval_h, p.least_running_h)
    return np.asarray(s.greased & (s.running_h < within_h) & (s.days <= p.most_days))


def unsettled(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The temperature did not settle after the greasing, or is up for a week with nothing to explain it."""
    return np.asarray(s.unsettled != "")


def early_rise(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Ultrasound or acceleration is clearly up on two sound readings: not left alone."""
    return s.early_rise


def response_failed(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The last greasing had no effect: prove first that grease arrives."""
    return s.response_failed


def long_overdue(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Far beyond the interval: hardened grease, the outlet, or a record that is not true. A bearing that cannot be
    greased is looked at in its week of the survey."""
    p = policy.guard.long_overdue
    due = np.where(s.not_greasable, s.survey_week & (s.inspected_d > p.sealed_days), s.inspected_d > p.inspected_days)
    return np.asarray((s.x > p.x) & due & ~survey_waits(s, policy, night))


def sealed(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Sealed for life, on oil, or without any way to put grease in."""
    return s.not_greasable


def extension_cap(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Condition stretches an interval only so far; less in harsh surroundings or without a signal that would tell."""
    return np.asarray((s.x > most_x(s, policy)) & ~s.not_greasable & ~s.stopped & ~survey_waits(s, policy, night))


def most_x(s: Situation, policy: Policy) -> FloatArray:
    """x up to which condition may stretch each interval."""
    p = policy.guard.extension_cap
    by_surroundings = np.choose(s.harsh, (p.x_watched, p.x_moderate, p.x_severe))
    return np.where(s.watched, by_surroundings, p.x_severe)


def data_lost(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Every signal that would tell of dryness is stale or faulty: that alone is no reason to grease."""
    return np.asarray(s.lost & ~(s.x >= 1.0))


def heard_beside(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """A failing neighbour is heard: that one is looked at first, as long as the interval may still be extended."""
    return np.asarray(s.heard_beside & ~extension_cap(s, policy, night))


def baseline_unsettled(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The rise stands against a level that no settled time has shown: look first, unless someone has lately."""
    seen = s.inspected_d <= policy.guard.long_overdue.inspected_days
    return np.asarray(s.baseline_unsettled & ~(s.x >= 1.0) & ~seen)


def not_dryness(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """A rise that dryness does not explain clearly better than damage, or that only acceleration shows, which cannot
    tell them apart; or a clear one that says too little of dryness for grease to pay: grease is no cheaper way of not
    looking."""
    return not_dry(s.early_rise, s.grease_pays, s.drier & ~s.acceleration_alone, s.x)


def not_dry(early_rise: BoolArray, grease_pays: BoolArray, drier: BoolArray, x: FloatArray) -> BoolArray:
    """Where ``not_dryness`` applies."""
    return np.asarray(np.where(grease_pays, ~drier, early_rise) & ~(x >= 1.0))


def deferred(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The analyst has put it off, and the evidence has not risen since."""
    return np.asarray(s.deferred_until >= night)


def asked_grease(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The analyst asks for grease, and nothing forbids it but what an analyst may know better."""
    asked = s.grease_until >= night
    if not asked.any():
        return asked
    firm = (absolute_limit, grease_mismatch, outside_range, stopped, just_greased, unsettled, response_failed,
            long_overdue, sealed)  # fmt: skip
    return np.asarray(asked & ~np.logical_or.reduce([g(s, policy, night) for g in firm]))


def asked_inspect(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """The analyst asks for an inspection."""
    return np.asarray(s.inspect_until >= night)


GUARDS: dict[str, Applies] = {
    function.__name__: function
    for function in (
        absolute_limit, replacement_window, grease_mismatch, history_unknown, survey_waits, outside_range,
        stopped, idle, just_greased, unsettled, early_rise, response_failed, long_overdue, sealed, extension_cap,
        data_lost, heard_beside, baseline_unsettled, not_dryness, deferred, asked_grease, asked_inspect,
    )
}  # fmt: skip
CODES = tuple(TAKES)
_TAKES = np.array([[action in names for action in ACTIONS] for names in TAKES.values()], dtype=np.bool_)
TAKEN = dict(zip(CODES, _TAKES, strict=True))
"""Per guard, which of the actions it takes away."""


def applied(s: Situation, policy: Policy, night: Days) -> BoolArray:
    """Which guards apply [bearings, guards]. A deferral that stands holds against every guard that would act, but the
    absolute limit; what an analyst asks for, against every guard that would take it away."""
    asked = np.stack([np.broadcast_to(GUARDS[code](s, policy, night), s.x.shape) for code in CODES], axis=1)
    for code, stands in words(s, policy, night).items():
        asked[:, _TAKES[:, ACTIONS.index(ASKED[code])]] &= ~stands[:, None]
    return asked


def words(s: Situation, policy: Policy, night: Days) -> dict[str, BoolArray]:
    """Where each word of the analyst holds, by code."""
    stands = {code: GUARDS[code](s, policy, night) for code in ASKED}
    return {**stands, "deferred": stands["deferred"] & ~s.limit_passed}


def allowed(guards: BoolArray) -> BoolArray:
    """Which actions are left [bearings, actions]; inspect where none is."""
    return left(taken(guards))


def taken(guards: BoolArray) -> BoolArray:
    """Which actions the guards take away [bearings, actions]."""
    return np.stack([guards[:, _TAKES[:, action]].any(axis=1) for action in range(len(ACTIONS))], axis=1)


def left(taken: BoolArray) -> BoolArray:
    """Which actions are left where those are taken away; inspect where none is."""
    stay = ~taken
    stay[:, ACTIONS.index("inspect")] |= ~stay.any(axis=1)
    return stay


def deciding(guards: BoolArray, action: int) -> str:
    """Code of the first guard that took one action from one bearing [guards]."""
    by = guards & _TAKES[:, action]
    return CODES[int(np.argmax(by))] if by.any() else ""


FACTS = ("fact_ultrasound_nights", "fact_acceleration_nights", "fact_cap", "fact_inverter", "fact_supply")
"""What ``early_rise``, ``extension_cap``, the electrical pattern and the cost of holding depend on beside the values
weighed."""


def facts(
    s: Situation, nights_over: dict[str, FloatArray], inverter: BoolArray, supply: FloatArray, policy: Policy
) -> FloatArray:
    """The columns ``FACTS`` [rows, facts], so that other parameters of these guards can be tried without a replay.

    ``nights_over`` is 0 where an inspection without finding has looked into the level. ``fact_cap`` says which of the
    caps holds: 0 watched, 1 moderate, 2 severe; NaN where none does. ``supply`` is the context's supply factor.
    """
    none = s.not_greasable | s.stopped | survey_waits(s, policy, s.deferred_until)
    cap = np.where(none, np.nan, np.where(s.watched, s.harsh, SEVERE))
    return np.stack([nights_over["ultrasound"], nights_over["acceleration"], cap, inverter, supply], axis=1)
