"""Matters: what the calls of many nights say about one thing, told once.

A view derived after the calls; no call reads it. Rows are mappings with the columns of the schema.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

Row = Mapping[str, Any]
STATES = ("open", "on_work_list", "deferred", "inspected_without_finding", "inspected_with_finding", "done", "gone")
SHARED = ("machine", "instrument")
"""What an inspection may look at that several bearings have in common."""
_CLOSES = {"grease": ("relubrication",)}


@dataclass(frozen=True)
class Matter:
    """One finding that lasts.

    ``bearing_ids`` are those that it concerns: one, or several of one machine or collector. ``first`` and ``last`` are
    the nights on which it was called, ``reason`` the newest reason code and ``began_as`` the first, so that a change is
    seen. ``state`` is one of ``STATES``; ``since`` is when it came into that state. ``at_standstill`` tells that the
    machine stands now: an opportunity. ``by`` is the earliest last day that was told for the first of the bearings,
    None where none was: what is not done in time is late.
    """

    bearing_ids: tuple[str, ...]
    call: str
    look_at: str
    first: date
    last: date
    nights: int
    began_as: str
    reason: str
    state: str
    since: date
    at_standstill: bool
    by: date | None

    def late(self, night: date) -> bool:
        """Whether it should have been done by now, and nobody has looked into it or put it off."""
        return self.by is not None and self.by < night and self.state in ("open", "on_work_list")


def act_by(decision: Row, matter: Matter | None = None) -> date | None:
    """The last day for what is called: a greasing is due at once and must be done by the end of its range; a hold has
    the day on which the call turns. A call that stands on keeps the day that it was given first."""
    late = decision["due_late"] if decision["call"] == "grease" else None
    told: date | None = late or decision["due_date"]
    held = matter.by if matter and decision["call"] != "hold" else None
    return min(told, held) if told and held else told or held


def matters(
    decisions: Iterable[Row], events: Iterable[Row], reviews: Iterable[Row], shared: Mapping[str, Mapping[str, str]],
    zone: ZoneInfo,
) -> list[Matter]:  # fmt: skip
    """Matters of a stretch of nights, those still standing first, oldest first: ``lasting``, then ``stated``."""
    rows = list(decisions)
    last = max((row["night"] for row in rows), default=date.min)
    return stated(lasting(rows), last, events, reviews, shared, zone)


def lasting(decisions: Iterable[Row]) -> list[Matter]:
    """Runs of nights with one finding, each bearing for itself, by the decisions alone.

    ``decisions`` are rows of every night of the stretch, in any order.
    """
    by_bearing: dict[str, list[Row]] = {}
    for row in decisions:
        by_bearing.setdefault(row["bearing_id"], []).append(row)
    return [
        matter
        for name, rows in sorted(by_bearing.items())
        for matter in _lasting(name, sorted(rows, key=lambda row: row["night"]))
    ]


def stated(
    found: Iterable[Matter], last: date, events: Iterable[Row], reviews: Iterable[Row],
    shared: Mapping[str, Mapping[str, str]], zone: ZoneInfo,
) -> list[Matter]:  # fmt: skip
    """The matters with their states, those of one machine or collector put together.

    Parameters
    ----------
    last
        The newest night: what does not stand on it has gone.
    events, reviews
        Rows that may have changed a state.
    shared
        For each of ``SHARED``, the machine or collector of a bearing: {"machine": {bearing_id: machine_id}, ...}.
    zone
        The site's zone, for the dates of events.
    """
    work, said = _by_bearing(events), _by_bearing(reviews)
    told = [_stated(m, last, work.get(m.bearing_ids[0], []), said.get(m.bearing_ids[0], []), zone) for m in found]
    order = {state: k for k, state in enumerate(STATES)}
    return sorted(_together(told, shared), key=lambda m: (order[m.state], m.first, m.bearing_ids))


def _lasting(name: str, rows: list[Row]) -> Iterator[Matter]:
    """Runs of nights with the same call and thing to look at, or second thing to do beside a hold.

    A night at standstill says nothing new: an inspection that was open stays open. So does whatever is put off.
    """
    standing: Matter | None = None
    for row in rows:
        codes = (row["guards"] or "").split()
        stands = "stopped" in codes
        kept = (stands and standing is not None and standing.call == "inspect") or "deferred" in codes
        if standing is not None and kept and row["call"] == "hold":
            by = None if "deferred" in codes else standing.by
            standing = replace(standing, last=row["night"], at_standstill=stands, by=by)
            continue
        call = row["call"] or ""
        look_at = row["look_at"] or (row.get("second_action") if call == "hold" else "") or ""
        if standing is not None and (call, look_at) == (standing.call, standing.look_at):
            standing = replace(
                standing, last=row["night"], nights=standing.nights + 1, reason=row["reason"], at_standstill=stands,
                by=act_by(row, standing),
            )  # fmt: skip
            continue
        if standing is not None:
            yield standing
        standing = None
        if call and (call != "hold" or look_at):
            night, why = row["night"], row["reason"]
            standing = Matter((name,), call, look_at, night, night, 1, why, why, "open", night, stands, act_by(row))
    if standing is not None:
        yield standing


def _stated(matter: Matter, last: date, work: list[Row], said: list[Row], zone: ZoneInfo) -> Matter:
    """The matter with its state: what was done or said since its first night, else whether it still stands."""
    state, since = ("on_work_list" if matter.call == "grease" else "open"), matter.first
    told = [("event", row) for row in work] + [("review", row) for row in said]
    for kind, row in sorted(told, key=lambda one: (one[1]["time"], one[0], str(one[1].get("event_id")))):
        day = row["time"].astimezone(zone).date()
        if day < matter.first:
            continue
        if kind == "event" and row["kind"] in ("replacement", "rebuilt", *_CLOSES.get(matter.call, ())):
            state, since = "done", day
        elif kind == "event" and row["kind"] == "inspection" and state != "done":
            clean = (row["finding"] or "none") == "none"
            state, since = ("inspected_without_finding" if clean else "inspected_with_finding"), day
        elif kind == "review" and row["verdict"] == "defer" and row["defer_until"] and row["defer_until"] >= last:
            state, since = "deferred", day
    if matter.last < last and state in ("open", "on_work_list"):
        state, since = "gone", matter.last
    return replace(matter, state=state, since=since)


def _together(found: list[Matter], shared: Mapping[str, Mapping[str, str]]) -> list[Matter]:
    """Matters of one machine or collector that stand at the same time become one, told by the first of them."""
    groups: dict[tuple[str, ...], list[Matter]] = {}
    single = []
    for matter in found:
        whose = shared.get(matter.look_at, {}).get(matter.bearing_ids[0]) if matter.look_at in SHARED else None
        if whose:
            groups.setdefault((matter.call, matter.look_at, whose, matter.state), []).append(matter)
        else:
            single.append(matter)
    for group in groups.values():
        whole: list[Matter] = []
        for matter in sorted(group, key=lambda m: (m.first, m.bearing_ids)):
            if whole and matter.first <= whole[-1].last:
                ids = tuple(sorted({*whole[-1].bearing_ids, *matter.bearing_ids}))
                nights = max(whole[-1].nights, matter.nights)
                whole[-1] = replace(whole[-1], bearing_ids=ids, last=max(whole[-1].last, matter.last), nights=nights)
            else:
                whole.append(matter)
        single.extend(whole)
    return single


def _by_bearing(rows: Iterable[Row]) -> dict[str, list[Row]]:
    rows = list(rows)
    replaced = {row["supersedes"] for row in rows if row.get("supersedes")}
    made: dict[str, list[Row]] = {}
    for row in rows:
        own = row.get("event_id") or row.get("review_id")
        if row.get("bearing_id") and own not in replaced:
            made.setdefault(row["bearing_id"], []).append(row)
    return made
