"""Sentences about a decision, made from its rows alone; no number is computed here that is not in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from condlube.advisory.job import looked_for
from condlube.advisory.matters import Matter
from condlube.explain.phrases import (
    GUARD_KINDS,
    GUARDS,
    LOOK_FOR,
    MATTERS,
    SIGNALS,
    STATES,
    TOWARDS,
    fact,
    grams,
    used,
    why_not,
)
from condlube.schema.words import STATE_UNCLEAR

Row = Mapping[str, Any]
AT_FIRST = {
    "settling": "warm after greasing, which is normal for a day or two",
    "running_in": "warm in its first days, while fresh grease works itself out of the way",
}
TRAITS = ("growth", "onset", "response")
_NEAR_BITS = 0.5
_DATED = ("done", "inspected_without_finding", "inspected_with_finding")


def sentence(decision: Row, evidence: Sequence[Row]) -> str:
    """The call and what decided it, short enough for a phone."""
    if not decision["call"]:
        return f"Not decided: {decision['failed']}."
    return f"{_act(decision)}: {_because(decision, evidence)}"


def deciding(decision: Row, evidence: Sequence[Row]) -> Row | None:
    """The row of evidence that the reason names; None where the reason is time or a guard alone."""
    source = decision["reason"].rpartition(" ")[2]
    return next((row for row in evidence if row["source"] == source), None)


def second(decision: Row) -> str:
    """The second thing to do, where two things are true; empty otherwise."""
    return {
        "grease": "Greasing is due as well, once the inspection allows it.",
        "inspect_machine": "Have the machine looked at as well: unbalance, misalignment or looseness.",
        "inspect_instrument": f"Check the instrument{' as well' if decision['call'] == 'grease' else ''}.",
        "grease_on_return": "Greasing is due when the machine runs again.",
        "replace": "Plan its replacement for the next planned stop.",
        "look": "Have a look first: warm for no known reason."
        if decision["call"] == "grease"
        else "Have a look: warm for no known reason. Temperature alone is no reason to grease.",
    }.get(decision["second_action"] or "", "")


def standing(matter: Matter, night: date) -> str:
    """Since when a matter stands, and what has been done about it."""
    nights = (night - matter.first).days
    age = f"since {matter.first:%-d %b %Y} ({nights} night{'' if nights == 1 else 's'})"
    words = [age if nights else "new tonight"]
    if nights or matter.state not in ("open", "on_work_list"):
        words.append(MATTERS[matter.state] + (f" {matter.since:%-d %b}" if matter.state in _DATED else ""))
    if matter.by and matter.late(night):
        words.append(f"late since {matter.by:%-d %b}")
    began, now = (reason.partition(" ")[0] for reason in (matter.began_as, matter.reason))
    if began != now and began in STATES:
        words.append(f"at first: {STATES[began]}")
    if matter.at_standstill:
        words.append("the machine stands: an opportunity")
    return ", ".join(words)


def until(by: date | None, late: bool) -> str:
    """By when work is to be done, or since when it is late; empty without a date."""
    return f"{'late since' if late else 'by'} {by:%-d %b %Y}" if by else ""


def stands(matter: Matter, night: date) -> str:
    """The same as a sentence of its own."""
    said = standing(matter, night)
    return f"{said[0].upper()}{said[1:]}."


def other_policy(digest: str) -> str:
    """What to know of a decision whose policy this version cannot read."""
    return (
        f"This night was decided under policy {digest[:12]}, which this version cannot read any more. The call, its "
        "probabilities and costs are those of that night; what to do and what would change the call are told by the "
        "policy in force."
    )


def look_for(decision: Row) -> str:
    """What an inspection looks at first, and what would confirm it; empty where the call is another."""
    return LOOK_FOR.get(looked_for(decision), "")


def guards(decision: Row) -> list[str]:
    """What each guard that applied says."""
    return [GUARDS[code] for code in (decision["guards"] or "").split()]


def _act(decision: Row) -> str:
    if decision["call"] == "grease":
        if decision["look_at"] == "supply":
            return "Check lubricator, level and line"
        return "Grease" if decision["grease_g"] is None else f"Grease {grams(decision['grease_g'])}"
    if decision["call"] == "inspect":
        look = decision["look_at"]
        return f"Inspect the {look}" if look else "Inspect"
    return "Hold"


def _because(decision: Row, evidence: Sequence[Row]) -> str:
    reason = decision["reason"]
    told = {"time": _by_time, "quiet": _quiet}.get(reason)
    if told:
        said = told(decision, evidence)
    elif reason in AT_FIRST:
        said = AT_FIRST[reason]
    elif reason.partition(" ")[0] in GUARDS:
        said = _guarded(decision, evidence)
    else:
        said = _pointed(decision, evidence)
    if over := [fact(row) for row in evidence if row["source"] == "temperature_limit" and _most(row) > 0]:
        said += "" if over[0] in said else f"; {over[0]}"
    fallen = [fact(row) for row in evidence if row["reason"] == STATE_UNCLEAR and row["source"] in SIGNALS]
    ask = [text for text in fallen if text not in said]
    return f"{said}; {_list(ask)}: does the machine run as usual, does the sensor sit?" if ask else f"{said}."


def _guarded(decision: Row, evidence: Sequence[Row]) -> str:
    """What the guard says that decided, with the level that it speaks of."""
    reason = decision["reason"]
    guard = reason.partition(" ")[0]
    says = GUARD_KINDS.get(reason, GUARDS[guard])
    loud = _loudest(evidence)
    if guard == "sealed":
        return f"{fact(loud)}, and {says}" if loud else f"{says} ({used(decision['x'])} used up)"
    if guard == "absolute_limit":
        over = [fact(row) for row in evidence if row["source"] in ("zone", "temperature_limit") and _most(row) > 0]
        return f"{_list(over)}: {says}" if over else says
    if guard in ("extension_cap", "long_overdue", "replacement_window"):
        return f"{says} ({used(decision['x'])} used up)"
    if guard == "data_lost":
        lost = [f"{SIGNALS[r['source']]} {why_not(r)}" for r in evidence if r["status"] in ("faulty", "stale")]
        return f"{says} ({_list(lost)})" if lost else says
    before = next((row for row in evidence if row["source"] == "settling"), None)
    about = before if reason in ("unsettled above_before", "unsettled rising") else None
    about = about or (loud if guard in ("early_rise", "unsettled") else None)
    return f"{says} ({fact(about)})" if about else says


def _by_time(decision: Row, evidence: Sequence[Row]) -> str:
    by_time = f"{used(decision['x'])} is used up"
    signals = [row for row in evidence if row["source"] in SIGNALS and row["status"] != "absent"]
    silent = [row for row in signals if row["status"] != "assessed"]
    if len(silent) < len(signals):
        return by_time
    return (
        f"{by_time}; {SIGNALS[silent[0]['source']]} {why_not(silent[0])}"
        if silent
        else f"{by_time}; nothing is measured"
    )


def _quiet(decision: Row, evidence: Sequence[Row]) -> str:
    heard = [row for row in evidence if row["source"] in SIGNALS and row["status"] == "assessed"]
    away = [row for row in heard if row["reason"] == STATE_UNCLEAR or _most(row) > _NEAR_BITS]
    near = [SIGNALS[row["source"]] for row in heard if row not in away]
    said = [f"{_list(near)} {'is' if len(near) == 1 else 'are'} near expected"] if near else []
    said += [fact(row) for row in away if row["reason"] != STATE_UNCLEAR]
    return ", ".join([*said, f"{used(decision['x'])} is used up"])


def _pointed(decision: Row, evidence: Sequence[Row]) -> str:
    """The evidence that speaks for the state that the reason names, and what it points to."""
    state = decision["reason"].partition(" ")[0]
    row = deciding(decision, evidence)
    said = [] if row is None else [fact(row)]
    also = [r for r in evidence if r["source"] in TRAITS and r is not row and r[f"bits_{state}"] > 0]
    loud = _loudest(evidence)
    if loud and row is not None and row["source"] not in SIGNALS and (also or "finding." not in row["source"]):
        said.append(fact(loud)) if "finding." in row["source"] else said.insert(0, fact(loud))
    said += [fact(r) for r in also]
    if row is not None and row["source"] == "growth" and not loud:
        said[0] = f"a signal has {said[0]}"
    if decision["call"] == "grease":
        return ", ".join([*said, f"{used(decision['x'])} used up"])
    if decision["call"] == "hold":
        said += [fact(r) for r in evidence if r["source"] == "response" and r["reason"] == "held"]
        where = " at the bearing itself" if decision["second_action"] == "inspect_instrument" else ""
        return ", ".join([*said, f"not enough to act on{where}"])
    if row is not None and row["source"] == "finding.damage":
        return ", ".join([*said, "and no replacement is on record since"])
    return ", ".join(said) + ": points to " + ", or to ".join(TOWARDS[name] for name in _suspected(decision, state))


def _suspected(decision: Row, state: str) -> list[str]:
    """The state that the reason names, and the likeliest other that is at least half as likely."""
    own = decision[f"p_{state}"]
    others = [name for name in STATES if name not in ("adequate", state) and decision[f"p_{name}"] >= 0.5 * own]
    return [state, *sorted(others, key=lambda name: -float(decision[f"p_{name}"]))[:1]]


def _loudest(evidence: Sequence[Row]) -> Row | None:
    """The assessed level with the most bits for any state; None where none speaks for any."""
    levels = [row for row in evidence if row["source"] in SIGNALS and row["status"] == "assessed"]
    spoken = [row for row in levels if row["reason"] != STATE_UNCLEAR and _most(row) > 0]
    return max(spoken, key=_most, default=None)


def _most(row: Row) -> float:
    return max((float(v) for k, v in row.items() if k.startswith("bits_")), default=0.0)


def _list(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
