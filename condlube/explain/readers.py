"""A line for each reader of a decision: the technician, the planner, the auditor; and what would change it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from condlube.advisory.change import Change
from condlube.advisory.job import Job
from condlube.explain.phrases import GUARDS, LOOK_FOR, SIGNALS, STATES, counted, fixed, grams, share
from condlube.explain.table import leading, source_name
from condlube.schema.words import ACTIONS

Row = Mapping[str, Any]
_UNITS = {"ultrasound": "dB over expected", "acceleration": "dB over expected", "temperature": "K over expected",
          "velocity": "times expected", "impulsiveness": "times expected", "growth": "spreads",
          "collector_share": "of its collector"}  # fmt: skip
_ASKED = {"grease_g": "grams really given", "outlet_open": "outlet seen open", "purge": "what came out",
          "not_done_because": "if not done, why"}  # fmt: skip
_MOST_DIGITS = 3
_CALLS = {"grease": "grease", "hold": "leave alone", "inspect": "inspect"}


def technician(job: Job) -> list[str]:
    """What to do, how, and what to expect; one sentence a line. Empty where nothing is to be done."""
    if job.kind == "check_supply":
        return ["Check lubricator, grease level and line; note what was found."]
    if job.kind == "replace":
        return [_look(job), "Sealed for life: do not try to grease it; what the look confirms, a replacement cures."]
    said = []
    if job.kind == "inspect":
        said.append(_look(job))
    if job.kind == "grease" or job.second == "grease":
        said.append(("Then grease, unless the inspection speaks against it: " if said else "Give ") + _dose(job))
        if job.shots:
            said.append(
                f"In {job.shots} shots while listening, {job.wait_min:g} min apart: go on only while the level falls, "
                "stop at once if it rises."
            )
        said.append(
            f"Up to {job.normal_rise_k:g} K warmer for {job.normal_rise_h:g} h is usual; the response is checked after "
            f"{job.check_after_h:g} h."
        )
    if job.form:
        said.append("Write down: " + ", ".join(_ASKED.get(name, name.replace("_", " ")) for name in job.form) + ".")
    return said


def planner(decision: Row, by: date | None = None) -> str:
    """What and by when; ``by`` is the last day where the call was given one on an earlier night."""
    call, due, late = decision["call"], decision["due_date"], decision["due_late"]
    if decision["second_action"] == "replace" and _empty(due):
        return "Replace at the next planned stop."
    if _empty(due):
        return "No date foreseen: time alone does not turn the call."
    if decision["second_action"] == "replace":
        return f"Replace at a planned stop before {_day(due)}."
    if call == "hold":
        early = decision["due_early"]
        until = "" if _empty(late) or late == due else f" to {_day(late)}"
        between = f" (range {_day(early)}{until})" if until or early != due else ""
        return f"Falls due {_day(due)}{between}."
    if call == "grease":
        return f"Due now, at the latest by {_day(by or (due if _empty(late) else late))}."
    return f"Inspect by {_day(by or due)}."


def auditor(decision: Row, policy_digest: str) -> str:
    """Probabilities, expected costs, guards and the policy in force."""
    odds = ", ".join(f"{STATES[s]} {share(decision[f'p_{s}'])}" for s in ("adequate", *leading(decision)))
    cost = ", ".join(f"{action} {decision[f'cost_{action}']:.2f}" for action in ACTIONS)
    codes = (decision["guards"] or "").split()
    taken = f" Guards: {', '.join(codes)}." if codes else ""
    if decision["call"] != decision["cost_call"]:
        taken += f" Cheapest before guards: {decision['cost_call']}; decided by {decision['basis']}."
    return f"Probable: {odds}. Expected cost: {cost}.{taken} Policy {policy_digest[:12]}."


def what_changes(found: Sequence[Change], decision: Row) -> list[str]:
    """The nearest single change in each source that turns the call, and when time alone does."""
    said = [_change(change) for change in found]
    if decision["call"] == "hold" and not _empty(decision["due_date"]):
        said.append(f"time alone: on {_day(decision['due_date'])}")
    return said or ["no single change in one source turns this call"]


def why_guarded(decision: Row) -> list[str]:
    """What each guard that applied says, with its code."""
    return [f"{code}: {GUARDS[code]}" for code in (decision["guards"] or "").split()]


def _change(change: Change) -> str:
    name = SIGNALS.get(change.source, change.source.replace("_", " "))
    if change.word:
        return f"{source_name(change.source)} {change.word}: {_CALLS[change.call]}"
    digits = 0 if change.source == "collector_share" else 1 if change.source not in ("velocity", "impulsiveness") else 2
    if change.now is not None:
        while digits < _MOST_DIGITS and fixed(change.then, digits) == fixed(change.now, digits):
            digits += 1
    shown = f"{change.then:.0%}" if change.source == "collector_share" else fixed(change.then, digits)
    now = "" if change.now is None else f" (now {fixed(change.now, max(digits, 1))})"
    return f"{name} at {shown} {_UNITS[change.source]}{now}: {_CALLS[change.call]}"


def _look(job: Job) -> str:
    return f"Look first at the {job.look_at}: {LOOK_FOR[job.look_for]}." if job.look_at else "Look and listen."


def _dose(job: Job) -> str:
    if job.grease_g is None:
        return "the dose of the machine's manual."
    why = "one stroke of the gun is too much" if job.gun_g_per_stroke else "no calibrated gun"
    strokes = f", {counted(job.strokes)} of the calibrated gun" if job.strokes else f"; weigh it, {why}"
    line = ", with the remote line full of the same grease" if job.by_line else ""
    return (
        f"{grams(job.grease_g)} of {job.grease_id or 'the grease that is in it'}{strokes}{line}; no more in one visit."
    )


def _day(value: date | datetime) -> str:
    return f"{value:%Y-%m-%d}"


def _empty(value: Any) -> bool:
    return value is None or value != value
