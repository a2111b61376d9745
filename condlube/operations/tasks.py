"""Work that follows from the calls: what a planner schedules and a technician carries out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from condlube.explain.cautions import cautions
from condlube.explain.instructions import FORM, how
from condlube.explain.sentences import look_for, second, sentence
from condlube.schema.words import AUTOMATIC_SUPPLIES

_PLACE = ("route", "area", "machine_id", "position", "bearing_id")
WORK_COLUMNS = (
    *_PLACE, "task", "by", "grease_id", "grease_g", "strokes", "how", "why", "also", "permit", "cautions", *FORM,
)  # fmt: skip
INSPECTION_COLUMNS = (*_PLACE, "by", "look_at", "look_for", "why", "also", "permit", "cautions", "done_by", "done_at",
                      "finding")  # fmt: skip

Rows = Mapping[str, dict[str, Any]]
Evidence = Mapping[str, list[dict[str, Any]]]


def work(decisions: Rows, evidence: Evidence, bearings: Rows, night: date, horizon_days: int) -> list[dict[str, Any]]:
    """Grease calls, and holds that fall due within the horizon, by route and place."""
    last = night + timedelta(days=horizon_days)
    made = []
    for name, decision in decisions.items():
        due = decision["due_date"] is not None and decision["due_date"] <= last
        if decision["call"] == "grease" or (decision["call"] == "hold" and due and decision["grease_g"] is not None):
            by_hand = None if bearings[name]["supply"] in AUTOMATIC_SUPPLIES else decision["grease_g"]
            listens = any(r["source"] == "ultrasound" and r["status"] == "assessed" for r in evidence[name])
            made.append({
                **_common(bearings[name], decision, evidence[name]),
                "task": "grease" if decision["call"] == "grease" else "falls due: look at the calls again by then",
                "grease_id": decision["grease_id"],
                "grease_g": None if by_hand is None else round(by_hand, 1),
                "strokes": None if by_hand is None else decision["strokes"],
                "how": how(bearings[name], decision, listens),
            })  # fmt: skip
    return by_place(made)


def inspections(decisions: Rows, evidence: Evidence, bearings: Rows) -> list[dict[str, Any]]:
    """Inspections, by route and place."""
    return by_place(
        {
            **_common(bearings[name], decision, evidence[name]),
            "look_at": decision["look_at"],
            "look_for": look_for(decision),
        }
        for name, decision in decisions.items()
        if decision["call"] == "inspect"
    )


def by_place(tasks: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Tasks in the order in which they are walked."""
    return sorted(tasks, key=lambda task: tuple(task[name] or "" for name in _PLACE))


def _common(bearing: dict[str, Any], decision: dict[str, Any], evidence: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        **{name: bearing[name] for name in _PLACE},
        "by": decision["due_date"],
        "why": sentence(decision, evidence),
        "also": second(decision),
        "permit": "hazardous area permit" if bearing["hazardous_area"] else "",
        "cautions": " ".join(cautions(bearing, decision)),
    }
