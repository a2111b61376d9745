"""The morning's briefing: a page of plain text for 06:30."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from condlube.explain.phrases import why_not
from condlube.explain.sentences import second, sentence

Rows = Mapping[str, Mapping[str, Any]]
Evidence = Mapping[str, Sequence[Mapping[str, Any]]]
Change = tuple[str, str, str]
_LISTED = 40
_NAME = 16


def briefing(
    site: str, night: date, known_by: datetime, counts: Mapping[str, int], decisions: Rows, evidence: Evidence,
    changed: Sequence[Change] | None, before: date | None, due: Sequence[Mapping[str, Any]], data: Sequence[str],
    width: int,
) -> str:  # fmt: skip
    """The text, no line longer than ``width``.

    Parameters
    ----------
    counts
        Bearings by call.
    decisions, evidence
        Rows of the night, by bearing.
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
        f"{sum(counts.values())} bearings: {sure}. Data known by {known_by:%Y-%m-%d %H:%M} UTC.",
    ]
    lines += _changes(changed, before, decisions, evidence, width)
    told = {name for name, *_ in changed or ()}
    for call, title in (("inspect", "INSPECT"), ("grease", "GREASE"), ("", "NOT DECIDED")):
        names = sorted(
            (name for name, row in decisions.items() if (row["call"] or "") == call),
            key=lambda name: (decisions[name]["due_date"] or date.max, name),
        )
        if names:
            lines += ["", f"{title} ({len(names)})"]
            lines += _listed(names, decisions, evidence, told, width)
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
    names: Sequence[str], decisions: Rows, evidence: Evidence, told: Iterable[str], width: int
) -> Iterator[str]:
    shown = [name for name in names if name not in told]
    if len(shown) < len(names):
        yield from _wrapped("told above: " + ", ".join(name for name in names if name in told), "  ", width)
    for name in shown[:_LISTED]:
        text = sentence(decisions[name], evidence[name])
        yield from _wrapped(f"{text} {second(decisions[name])}".strip(), f"  {name:<{_NAME}} ", width)
    if len(shown) > _LISTED:
        yield f"  and {len(shown) - _LISTED} more, in decisions.csv"


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
    return textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=" " * len(lead), break_long_words=False)
