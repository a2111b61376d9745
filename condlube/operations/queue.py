"""The morning's queue: what was flagged tonight, the most urgent first, new matters before lasting ones."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from math import ceil
from typing import Any

from condlube.advisory.matters import Matter, act_by
from condlube.operations.desk import Row, Sight, evidence_of
from condlube.operations.matters import is_flagged, standing_matters
from condlube.operations.reviews import newest_reviews
from condlube.schema.words import CRITICALITIES, STATES
from condlube.store.rows import rows

PAGE = 50
TREND_DAYS = 30
STANDINGS = ("new", "changed", "lasting", "closed", "deferred", "quiet")
"""How tonight's decision stands to last night's."""
FLAGGED = ("new", "changed", "lasting")
_TREND_SOURCES = ("ultrasound", "acceleration", "impulsiveness", "velocity", "temperature")


@dataclass(frozen=True)
class Filters:
    """What the page's address asks for; empty fields ask for nothing. ``standing`` may also be ``all``."""

    area: str = ""
    route: str = ""
    call: str = ""
    reason: str = ""
    criticality: str = ""
    reviewed: str = ""
    standing: str = ""
    text: str = ""
    page: int = 1

    def address(self, **changes: Any) -> dict[str, str]:
        """The filled fields as query parameters, with ``changes``; a change of filter goes back to the first page."""
        held = {field.name: getattr(self, field.name) for field in fields(self)} | {"page": 1} | changes
        return {name: str(value) for name, value in held.items() if value and (name, value) != ("page", 1)}


@dataclass(frozen=True)
class Line:
    """One bearing of the queue: its decision and register row, and what is derived from them.

    ``state`` is the fault that leads to the call and ``probability`` its posterior; ``matter`` is what stands, None
    where nothing does, and ``also`` are the lines of the other bearings that it concerns; ``trend`` the deviations of
    ``trend_source`` on the last nights, None where not assessed.
    """

    decision: Row
    bearing: Row
    standing: str
    call_before: str
    state: str
    probability: float
    matter: Matter | None = None
    also: tuple[Line, ...] = ()
    review: Row | None = None
    evidence: Sequence[Row] = ()
    trend_source: str = ""
    trend: tuple[float | None, ...] = ()

    @property
    def bearing_id(self) -> str:
        return str(self.decision["bearing_id"])

    @property
    def by(self) -> date | None:
        """The last day for what is called."""
        return act_by(self.decision, self.matter)

    @property
    def named(self) -> bool:
        """Whether the reason of the call names a state; else ``state`` is merely the likeliest fault."""
        return str(self.decision["reason"] or "").partition(" ")[0] in STATES

    @property
    def reviewed(self) -> bool:
        """Whether the last verdict was given on this matter, not on an earlier one."""
        return self.review is not None and self.review["night"] >= self.first_night

    @property
    def first_night(self) -> date:
        """The night on which this matter began."""
        night: date = self.matter.first if self.matter else self.decision["night"]
        return night


@dataclass(frozen=True)
class Queue:
    """A page of the queue. ``choices`` are the words that each filter can take, with their number of bearings."""

    night: date
    filters: Filters
    lines: tuple[Line, ...]
    found: int
    pages: int
    counts: Mapping[str, int]
    changes: Mapping[str, int]
    choices: Mapping[str, Mapping[str, int]]


def queue(sight: Sight, filters: Filters) -> Queue:
    """The page of the queue that ``filters`` ask for."""
    lines = queue_lines(sight)
    shown = together([line for line in lines if _passes(line, filters)])
    pages = max(1, ceil(len(shown) / PAGE))
    page = min(max(filters.page, 1), pages)
    on_page = shown[(page - 1) * PAGE : page * PAGE]
    if "counted" not in sight.kept:
        sight.kept["counted"] = _counts(sight, lines)
    return Queue(sight.night, filters, tuple(with_evidence(sight, on_page)), len(shown), pages, *sight.kept["counted"])


def _counts(
    sight: Sight, lines: Sequence[Line]
) -> tuple[Mapping[str, int], Mapping[str, int], Mapping[str, Mapping[str, int]]]:
    """Bearings by call and by standing, and the choices of each filter."""
    flagged = [line for line in lines if line.standing in FLAGGED]
    return (
        Counter(str(row["call"] or "failed") for row in sight.decisions.values()),
        Counter(line.standing for line in lines),
        {
            "area": _counted(line.bearing["area"] for line in flagged),
            "route": _counted(line.bearing["route"] for line in flagged),
            "call": _counted(line.decision["call"] or "failed" for line in flagged),
            "reason": _counted(line.decision["reason"] for line in flagged),
            "criticality": _counted(line.bearing["criticality"] for line in flagged),
        },
    )


def queue_lines(sight: Sight) -> Sequence[Line]:
    """A line for every bearing of the night, the most urgent first, without evidence and trends."""
    if "lines" not in sight.kept:
        found = standing_matters(sight)
        made = (_line(sight, b, row, found.get(b)) for b, row in sight.decisions.items())
        sight.kept["lines"] = sorted(made, key=urgency)
        sight.kept["told_at"] = sight.snapshot.commit_id
    lines: list[Line] = sight.kept["lines"]
    if sight.kept["told_at"] != sight.snapshot.commit_id:
        found = standing_matters(sight)
        lines = [replace(line, matter=found[b]) if (b := line.bearing_id) in found else line for line in lines]
        sight.kept.update(lines=lines, told_at=sight.snapshot.commit_id)
    reviews = newest_reviews(sight.snapshot)
    return [replace(line, review=reviews[b]) if (b := line.bearing_id) in reviews else line for line in lines]


def together(lines: Sequence[Line]) -> list[Line]:
    """One line for each matter: its first, with the others in ``also``."""
    groups: dict[tuple[str, ...], list[Line]] = {}
    for line in lines:
        matter = line.matter
        key = (*matter.bearing_ids, matter.look_at) if matter else (line.bearing_id,)
        groups.setdefault(key, []).append(line)
    return [replace(group[0], also=tuple(group[1:])) for group in groups.values()]


def urgency(line: Line) -> tuple[Any, ...]:
    """Order of the queue: new before lasting; then by the last day to act, what a failure would mean to the plant, and
    what leaving it alone is expected to cost."""
    weight = line.bearing.get("criticality")
    rank = CRITICALITIES.index(weight) if weight in CRITICALITIES else 0
    return (
        STANDINGS.index(line.standing), bool(line.decision["call"]), line.by or date.max, -rank,
        -(line.decision["cost_hold"] or 0.0), line.bearing_id,
    )  # fmt: skip


def leading_state(decision: Row) -> tuple[str, float]:
    """The fault that the reason names, else dryness where grease is called for, else the likeliest, with its posterior
    probability; empty when undecided."""
    said = str(decision["reason"] or "").partition(" ")[0]
    known = {state: decision[f"p_{state}"] for state in STATES[1:] if decision[f"p_{state}"] is not None}
    if not known:
        return "", 0.0
    likeliest = "starved" if decision["call"] == "grease" else max(known, key=lambda name: known[name])
    state = said if said in known else likeliest
    return state, float(known[state])


def _line(sight: Sight, bearing_id: str, row: Row, matter: Matter | None) -> Line:
    held = sight.before.get(bearing_id)
    state, probability = leading_state(row)
    standing = _standing(row, held, matter, sight.night)
    call_before = str(held["call"] or "failed") if held else ""
    bearing = sight.bearings.get(bearing_id, {"area": None, "route": None, "criticality": None, "machine_id": None})
    return Line(row, bearing, standing, call_before, state, probability, matter)


def _standing(row: Row, held: Row | None, matter: Matter | None, night: date) -> str:
    if is_flagged(row) or (matter and matter.at_standstill):
        if matter and matter.first < night:
            return "lasting"
        return "changed" if held and is_flagged(held) else "new"
    if "deferred" in (row["guards"] or "").split():
        return "deferred"
    return "closed" if held and is_flagged(held) else "quiet"


def _passes(line: Line, asked: Filters) -> bool:
    bearing, decision = line.bearing, line.decision
    if asked.standing != "all":
        wanted = (asked.standing,) if asked.standing else FLAGGED
        if line.standing not in wanted:
            return False
    for name in ("area", "route", "criticality"):
        if (value := getattr(asked, name)) and (bearing[name] or "-") != value:
            return False
    if asked.call and (decision["call"] or "failed") != asked.call:
        return False
    if asked.reason and (decision["reason"] or "-") != asked.reason:
        return False
    if asked.reviewed and line.reviewed != (asked.reviewed == "yes"):
        return False
    said = f"{line.bearing_id} {bearing.get('machine_id') or ''} {bearing.get('position') or ''}".casefold()
    return asked.text.casefold() in said


def _counted(values: Iterable[Any]) -> dict[str, int]:
    counts = Counter(str(value or "-") for value in values)
    return dict(sorted(counts.items()))


def with_evidence(sight: Sight, lines: Sequence[Line]) -> list[Line]:
    """The lines with tonight's evidence, and the deviations of the source that their reason names, else the first."""
    begin = sight.night - timedelta(days=TREND_DAYS - 1)
    runs = {run["run_id"]: run["night"] for run in sight.runs if run["night"] >= begin}
    found = rows(sight.snapshot.read(
        "evidence",
        ["run_id", "bearing_id", "source", "deviation", "status"],
        [("night", ">=", begin), ("night", "<=", sight.night), ("source", "in", _TREND_SOURCES),
         ("bearing_id", "in", [line.bearing_id for line in lines]), ("run_id", "in", list(runs))],
    ))  # fmt: skip
    held: dict[tuple[str, str], dict[date, float]] = {}
    for row in found:
        if row["status"] == "assessed" and row["deviation"] is not None:
            held.setdefault((row["bearing_id"], row["source"]), {})[runs[row["run_id"]]] = row["deviation"]
    nights = [begin + timedelta(days=k) for k in range(TREND_DAYS)]
    evidence = evidence_of(sight, [line.bearing_id for line in lines])
    made = []
    for line in lines:
        sources = [source for source in _TREND_SOURCES if (line.bearing_id, source) in held]
        named = str(line.decision["reason"] or "").partition(" ")[2]
        source = named if named in sources else next(iter(sources), "")
        values = held.get((line.bearing_id, source), {})
        trend = tuple(values.get(night) for night in nights) if values else ()
        made.append(replace(line, evidence=evidence[line.bearing_id], trend_source=source, trend=trend))
    return made
