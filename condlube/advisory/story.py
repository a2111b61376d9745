"""What leads to the call: its basis, the state and source that speak loudest, what to look at, what else is true."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.advisory import guards
from condlube.advisory.situation import Situation
from condlube.assessment.evidence import Evidence
from condlube.assessment.sources import FINDINGS, LEVELS, SOURCES, FloatArray, IntArray
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, AUTOMATIC_SUPPLIES, STATES

Words = npt.NDArray[np.object_]
GREASE, HOLD, INSPECT = range(len(ACTIONS))
LOOK_AT = ("", "bearing", "supply", "supply", "bearing", "machine", "instrument")
"""What an inspection looks at first, by the state that makes holding dear."""
GUARD_LOOK_AT = {
    "grease_mismatch": "supply", "history_unknown": "records", "survey_waits": "records", "outside_range": "records",
    "unsettled": "supply", "response_failed": "supply", "long_overdue": "records",
}  # fmt: skip
DETAILS = {"grease_mismatch": "mismatch", "unsettled": "unsettled", "extension_cap": "cap"}
"""Guards of several kinds, and where the situation names the kind."""
TELLING = ("stopped", "survey_waits", "data_lost", "heard_beside")
"""Guards that say more of a hold than that nothing leads to another call."""
_NEARLY = 0.5
"""Share of the highest contribution from which the likelier of two states leads."""
_TRUE_TOO = 0.1
"""Probability from which a machine or instrument fault is worth a second action."""


def leading_state(posterior: FloatArray, hold: FloatArray, call: IntArray) -> IntArray:
    """State, other than adequate, that the call is about [bearings]: dryness, where the call is to grease; else, of
    those that contribute most to the expected cost of holding or nearly so, the most likely."""
    others = posterior[:, 1:]
    costly = others * hold[:, 1:]
    near = costly >= _NEARLY * costly.max(axis=1, keepdims=True)
    about = (others * near).argmax(axis=1) + 1
    return np.where(call == GREASE, STATES.index("starved"), about)


def _bits_for(state: IntArray, evidence: Evidence) -> FloatArray:
    """Bits of each source for the state of each row [bearings, sources]."""
    return evidence.bits[np.arange(len(state)), :, state - 1]


def leading_source(evidence: Evidence, state: IntArray) -> Words:
    """Source with the most bits for the leading state; empty where none speaks for it."""
    bits = _bits_for(state, evidence)
    best = bits.argmax(axis=1)
    spoken = bits[np.arange(len(best)), best] > 0
    return np.where(spoken, np.array(SOURCES, dtype=object)[best], "")


def basis(call: IntArray, cost_call: IntArray, applied: BoolArray, evidence: Evidence, s: Situation) -> Words:
    """What the call rests on: the guard that took the cheapest action away, else time where nothing was assessed,
    else cost. An overdue interval that only the loss of its data reveals rests on time."""
    made = np.where(evidence.bits.any(axis=(1, 2)), "cost", "time").astype(object)
    for n in np.flatnonzero(call != cost_call):
        code = guards.deciding(applied[n], int(cost_call[n]))
        made[n] = "time" if code == "extension_cap" and s.lost[n] else code
    return made


def look_at(call: IntArray, made: Words, state: IntArray, s: Situation) -> Words:
    """What an inspection looks at first; empty where the call is another. What cannot be greased has no grease path."""
    by_guard = np.array([GUARD_LOOK_AT.get(code, "") for code in made], dtype=object)
    by_guard = np.where(s.not_greasable & (made == "long_overdue"), "bearing", by_guard)
    by_state = np.array(LOOK_AT, dtype=object)[state]
    made = np.where(by_guard != "", by_guard, by_state)
    made = np.where(s.not_greasable & (made == "supply"), "bearing", made)
    return np.where(call == INSPECT, made, "")


def supply_first(call: IntArray, look: Words, bearings: pd.DataFrame) -> Words:
    """The same, where a greasing or a doubted record falls to an automatic supply: look at lubricator, level and
    line."""
    automatic = bearings["supply"].isin(AUTOMATIC_SUPPLIES).to_numpy()
    return np.where(((call == GREASE) | (look == "records")) & automatic, "supply", look)


def second_action(
    call: IntArray, look: Words, state: IntArray, prior: FloatArray, posterior: FloatArray, dearer: FloatArray,
    evidence: Evidence, s: Situation, applied: BoolArray, policy: Policy,
) -> Words:  # fmt: skip
    """A second thing to do where two things are true; empty otherwise.

    grease: greasing is due beside an inspection of machine or instrument, or of a bearing that is far rather dry than
    damaged. inspect_machine: beside a greasing.
    inspect_instrument: beside a greasing or a hold, where one is suspect or a signal faulty. grease_on_return: due, but
    the machine stands. look: warm for no known reason. replace: past the life of grease that cannot be renewed.

    ``dearer`` [bearings, states] is what greasing costs more than holding. Greasing is due where it is the cheaper of
    the two, machine and instrument left aside, or where the interval may not be extended further. What an instrument
    says that is to be looked at does not count: there time alone tells.
    """
    odds = np.where((look == "instrument")[:, None], prior, posterior)
    due = (odds * dearer)[:, : STATES.index("machine_fault")].sum(axis=1) <= 0
    due |= applied[:, guards.CODES.index("extension_cap")]
    due &= guards.allowed(applied)[:, GREASE] | s.stopped
    made = np.full(len(call), "", dtype=object)
    warm = evidence.value("temperature") >= policy.guard.unsettled.unexplained_k
    hold = policy.cost.hold
    recent = s.days < np.where(s.greased, hold.fresh_days, hold.full_days)
    made[(call != INSPECT) & warm & ~recent] = "look"
    points = evidence.deviations
    faulty = np.zeros(len(call), dtype=np.bool_)
    faulty[points["which"].to_numpy(dtype=np.int64)[(points["status"] == "faulty").to_numpy()]] = True
    suspect = faulty | (posterior[:, STATES.index("instrument_fault")] >= _TRUE_TOO)
    made[(call != INSPECT) & suspect] = "inspect_instrument"
    made[(call == GREASE) & (posterior[:, STATES.index("machine_fault")] >= _TRUE_TOO)] = "inspect_machine"
    starved, damaged = (posterior[:, STATES.index(name)] for name in ("starved", "damaged"))
    dry = (state == STATES.index("starved")) & (starved >= policy.dose.shots_starved_to_damaged * damaged)
    beside = np.isin(look, ("machine", "instrument")) | (dry & (look == "bearing"))
    made[(call == INSPECT) & due & beside & ~s.stopped] = "grease"
    made[due & s.stopped & ~s.not_greasable] = "grease_on_return"
    made[(call == HOLD) & s.not_greasable & (s.x >= policy.guard.replacement_window.from_x)] = "replace"
    return made


def reason(
    call: IntArray, made: Words, posterior: FloatArray, state: IntArray, source: Words, evidence: Evidence,
    applied: BoolArray, s: Situation, policy: Policy,
) -> Words:  # fmt: skip
    """Reason code: the guard, with its kind where it has several; or the leading state and source; time, quiet,
    settling or running_in where nothing leads, or what makes a hold more than that. An absolute limit goes before
    everything."""
    quiet = (evidence.values[:, : len(LEVELS)] > -np.inf).any(axis=1)
    names = np.array(STATES, dtype=object)[state]
    coded = np.array([f"{n} {s}".strip() for n, s in zip(names, source, strict=True)], dtype=object)
    at_rest = np.where(quiet, "quiet", "time")
    warm = evidence.bits[:, SOURCES.index("temperature"), STATES.index("overfilled") - 1] > 0
    fresh = applied[:, guards.CODES.index("just_greased")]
    full = posterior[:, STATES.index("overfilled")]
    settling = (call == HOLD) & warm & (full >= posterior[np.arange(len(state)), state])
    running_in = settling & ~s.greased & (s.days < policy.cost.hold.full_days)
    for code in reversed(TELLING):
        at_rest = np.where(applied[:, guards.CODES.index(code)], code, at_rest)
    coded = np.where((call == HOLD) & (source == ""), at_rest, coded)
    coded = np.where(running_in, "running_in", np.where(settling & fresh, "settling", coded))
    coded = np.where((call == GREASE) & (source == ""), "time", coded)
    coded = np.where((made == "time") & (call != HOLD), "time", coded)
    guarded = made.copy()
    for code, name in DETAILS.items():
        guarded = np.where(made == code, code + " " + getattr(s, name), guarded)
    guarded = np.where((made == "long_overdue") & s.not_greasable, "long_overdue sealed", guarded)
    coded = np.where(np.isin(made, ("cost", "time")), coded, guarded)
    limited = np.where(s.stopped, "absolute_limit stopped", "absolute_limit")
    return np.where(applied[:, guards.CODES.index("absolute_limit")], limited, coded)


def within_days(
    call: IntArray, made: Words, look: Words, evidence: Evidence, state: IntArray, s: Situation, policy: Policy
) -> FloatArray:  # fmt: skip
    """Days within which the work should be done: the shortest that the P-F intervals of what speaks for the leading
    state at least half as strongly as the strongest allow."""
    by_source = {
        **{s: getattr(policy.due, f"{s}_days") for s in (*LEVELS, "growth")},
        "onset": policy.due.acceleration_days, "collector_share": policy.due.instrument_days,
        "response": policy.due.supply_days, "zone": policy.due.velocity_days,
        "temperature_limit": policy.due.temperature_days, "electrical": policy.due.acceleration_days,
        **dict.fromkeys(FINDINGS, policy.due.finding_days),
    }  # fmt: skip
    by_guard = {
        "history_unknown": policy.due.survey_days,
        "outside_range": policy.due.survey_days, "grease_mismatch": policy.due.survey_days,
        "response_failed": policy.due.supply_days, "long_overdue": policy.due.survey_days,
        "unsettled": policy.due.temperature_days,
    }  # fmt: skip
    usual = np.where(call == GREASE, policy.due.grease_days, policy.due.survey_days)
    bits = _bits_for(state, evidence)
    leads = (bits > 0) & (bits >= 0.5 * bits.max(axis=1, keepdims=True))
    each = np.array([by_source.get(name, np.inf) for name in SOURCES])
    shortest = np.where(leads, each, np.inf).min(axis=1)
    days = np.where(np.isfinite(shortest), shortest, usual)
    days = np.where(look == "supply", np.minimum(policy.due.supply_days, days), days)
    days = np.array([by_guard.get(code, d) for code, d in zip(made, days, strict=True)], dtype=np.float64)
    return np.where(s.limit_passed, policy.due.urgent_days, days)
