"""The morning's briefing: a page of plain text for 06:30."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from condlube.advisory.matters import Matter, act_by
from condlube.explain.phrases import why_not
from condlube.explain.sentences import second, sentence, stands

Rows = Mapping[str, Mapping[str, Any]]
Evidence = Mapping[str, Sequence[Mapping[str, Any]]]
Change = tuple[str, str, str]
_LISTED = 40
_NAME = 16


def briefing(
    site: str, night: date, known_by: datetime, counts: Mapping[str, int], decisions: Rows, evidence: Evidence,
    matters: Mapping[str, Matter], changed: Sequence[Change] | None, before: date | None,
    due: Sequence[Mapping[str, Any]], data: Sequence[str], width: int,
) -> str:  # fmt: skip
    """The text, no line longer than ``width``.

    Parameters
    ----------
    counts
        Bearings by call.
    decisions, evidence
        Rows of the night, by bearing.
    matters
        What stands on the night, by bearing: a finding that lasts is told once, with its age.
    changed
        Bearing, call of the night before, call of this night; None where no earlier night (``before``) was decided.
    due
        Rows of the work list that fall due within the horizon and are not greased today.
    data
        Lines about the data taken in.
    """
    width = max(width, 60)
    sure = ", ".join(f"{n} {'not decided' if call == 'failed' else call}" for call, n in counts.items()
                     if n or call != "failed")  # fmt: skip
    lines = [
        f"{site}: night of {night:%A %d %B %Y}",
        *_wrapped(f"{sum(counts.values())} bearings: {sure}. Data known by {known_by:%Y-%m-%d %H:%M} UTC.", "", width),
    ]
    lines += _changes(changed, before, decisions, evidence, width)
    told = {name for name, *_ in changed or ()}
    for call, title in (("inspect", "INSPECT"), ("grease", "GREASE"), ("", "NOT DECIDED")):
        names = sorted(
            (name for name, row in decisions.items() if (row["call"] or "") == call),
            key=lambda name: (act_by(decisions[name], matters.get(name)) or date.max, name),
        )
        if names:
            lines += ["", f"{title} ({len(names)})"]
            lines += _listed(names, decisions, evidence, matters, night, told, width)
    lines += _beside(decisions, width)
    if due:
        lines += ["", f"FALLS DUE ({len(due)})"]
        lines += _wrapped(", ".join(f"{row['bearing_id']} {row['by']:%d %b}" for row in due), "  ", width)
    lines += ["", "DATA"]
    for line in [*data, *_silent(decisions, evidence)]:
        lines += _wrapped(line, "  ", width)
    return "\n".join(lines)


def _changes(
    changed: Sequence[Change] | None, before: date | None, decisions: Rows, evidence: Evidence, width: int
) -> Iterator[str]:
    if changed is None:
        return
    yield ""
    if not changed:
        yield f"NOTHING CHANGED since {before:%d %b}"
        return
    yield f"CHANGED since {before:%d %b} ({len(changed)})"
    for name, was, now in changed[:_LISTED]:
        text = f"{was} > {now}. {sentence(decisions[name], evidence[name])}"
        yield from _wrapped(text, f"  {name:<{_NAME}} ", width)
    if len(changed) > _LISTED:
        yield f"  and {len(changed) - _LISTED} more"


def _listed(
    names: Sequence[str], decisions: Rows, evidence: Evidence, matters: Mapping[str, Matter], night: date,
    told: Iterable[str], width: int,
) -> Iterator[str]:  # fmt: skip
    """A line for each matter, under the first of its bearings; what was told as a change has its age only."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for name in names:
        groups.setdefault(matters[name].bearing_ids if name in matters else (name,), []).append(name)
    shown = [group for group in groups.values() if not set(group) <= set(told)]
    if above := [name for name in names if name in told]:
        yield from _wrapped("told above: " + ", ".join(above), "  ", width)
    for first, *others in shown[:_LISTED]:
        text = [sentence(decisions[first], evidence[first]), second(decisions[first])]
        if others:
            text.append(f"The same on {', '.join(others)}.")
        if first in matters:
            text.append(stands(matters[first], night))
        yield from _wrapped(" ".join(filter(None, text)), f"  {first:<{_NAME}} ", width)
    if len(shown) > _LISTED:
        yield f"  and {len(shown) - _LISTED} more, in decisions.csv"


def _beside(decisions: Rows, width: int) -> Iterator[str]:
    """What is to be done at bearings that are left alone, by what it is."""
    by_action: dict[str, list[str]] = {}
    for name, row in sorted(decisions.items()):
        if row["call"] == "hold" and row["second_action"]:
            by_action.setdefault(second(row), []).append(name)
    if by_action:
        yield ""
        yield f"LEFT ALONE, BUT ({sum(map(len, by_action.values()))})"
    for words, names in by_action.items():
        more = f" and {len(names) - _LISTED} more, in decisions.csv" if len(names) > _LISTED else ""
        yield from _wrapped(f"{words} {', '.join(names[:_LISTED])}{more}", "  ", width)


def _silent(decisions: Rows, evidence: Evidence) -> Iterator[str]:
    """Signals that say nothing for a reason of their own, by reason."""
    by_reason: dict[str, list[str]] = {}
    for name in decisions:
        for row in evidence[name]:
            if row["status"] in ("faulty", "stale"):
                by_reason.setdefault(why_not(row), []).append(row["point_id"])
    for reason, points in sorted(by_reason.items()):
        more = f" and {len(points) - 6} more" if len(points) > 6 else ""
        yield f"{reason}: {', '.join(points[:6])}{more}"


def _wrapped(text: str, lead: str, width: int) -> list[str]:
    inner = " " * len(lead)
    return textwrap.wrap(
        text, width, initial_indent=lead, subsequent_indent=inner, break_long_words=False, break_on_hyphens=False
    )
