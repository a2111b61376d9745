"""Sentences about a decision, made from its rows alone; no number is computed here that is not in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from condlube.advisory.matters import Matter
from condlube.explain.phrases import (
    FINDINGS,
    GUARD_KINDS,
    GUARDS,
    LOOK_FOR,
    MATTERS,
    SIGNALS,
    STATES,
    fact,
    used,
    why_not,
)

Row = Mapping[str, Any]
_DATED = ("done", "inspected_without_finding", "inspected_with_finding")


def sentence(decision: Row, evidence: Sequence[Row]) -> str:
    """The call and what decided it, short enough for a phone."""
    if not decision["call"]:
        return f"Not decided: {decision['failed']}."
    return f"{_act(decision)}: {_because(decision, evidence)}."


def deciding(decision: Row, evidence: Sequence[Row]) -> Row | None:
    """The row of evidence that the reason names; None where the reason is time or a guard alone."""
    source = decision["reason"].rpartition(" ")[2]
    return next((row for row in evidence if row["source"] == source), None)


def second(decision: Row) -> str:
    """The second thing to do, where two things are true; empty otherwise."""
    return {
        "grease": "Greasing is due as well, once the inspection allows it.",
        "inspect_machine": "Have the machine looked at as well: unbalance, misalignment or looseness.",
        "inspect_instrument": "Check the instrument as well.",
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
    began, now = (reason.partition(" ")[0] for reason in (matter.began_as, matter.reason))
    if began != now and began in STATES:
        words.append(f"at first: {STATES[began]}")
    if matter.at_standstill:
        words.append("the machine stands: an opportunity")
    return ", ".join(words)


def look_for(decision: Row) -> str:
    """What an inspection looks at first, and what would confirm it; empty where the call is another."""
    return LOOK_FOR.get(decision["look_at"] or "", "")


def guards(decision: Row) -> list[str]:
    """What each guard that applied says."""
    return [GUARDS[code] for code in (decision["guards"] or "").split()]


def _act(decision: Row) -> str:
    if decision["call"] == "grease":
        if decision["look_at"] == "supply":
            return "Check lubricator, level and line"
        grams = "" if decision["grease_g"] is None else f" {decision['grease_g']:.0f} g"
        return f"Grease{grams}"
    if decision["call"] == "inspect":
        look = decision["look_at"]
        return f"Inspect the {look}" if look else "Inspect"
    return "Hold"


def _because(decision: Row, evidence: Sequence[Row]) -> str:
    reason = decision["reason"]
    guard = reason.partition(" ")[0]
    if guard in GUARDS:
        loud = _loudest(evidence)
        tail = f" ({fact(loud)})" if guard in ("early_rise", "unsettled", "sealed") and loud else ""
        if guard in ("extension_cap", "long_overdue", "replacement_window"):
            tail = f" ({used(decision['x'])} used up)"
        return GUARD_KINDS.get(reason, GUARDS[guard]) + tail
    if reason == "time":
        silent = [row for row in evidence if row["source"] in SIGNALS and row["status"] not in ("absent", "assessed")]
        heard = any(row["source"] in SIGNALS and row["status"] == "assessed" for row in evidence)
        by_time = f"{used(decision['x'])} is used up"
        if heard:
            return by_time
        if not silent:
            return f"{by_time}; nothing is measured"
        return f"{by_time}; {SIGNALS[silent[0]['source']]} {why_not(silent[0])}"
    if reason == "quiet":
        heard_signals = [SIGNALS[r["source"]] for r in evidence if r["source"] in SIGNALS and r["status"] == "assessed"]
        verb = "is" if len(heard_signals) == 1 else "are"
        return f"{_list(heard_signals)} {verb} near expected, {used(decision['x'])} is used up"
    if reason == "settling":
        return "warm after greasing, which is normal for a day or two"
    row = deciding(decision, evidence)
    state = reason.partition(" ")[0]
    said = [] if row is None else [fact(row)]
    if row is not None and row["source"] not in SIGNALS:
        loud = _loudest(evidence)
        said = [fact(loud), *said] if loud and row["source"].partition(".")[2] not in FINDINGS else said
    told = ("growth", "onset", "response")
    said += [fact(r) for r in evidence if r["source"] in told and r is not row and r[f"bits_{state}"] > 0]
    tail = f", {used(decision['x'])} used up" if decision["call"] == "grease" else f": points to {STATES[state]}"
    return ", ".join(said) + tail


def _loudest(evidence: Sequence[Row]) -> Row | None:
    """The assessed level with the most bits for any state."""
    levels = [row for row in evidence if row["source"] in SIGNALS and row["status"] == "assessed"]
    return max(levels, key=lambda row: max(v for k, v in row.items() if k.startswith("bits_")), default=None)


def _list(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
