"""Work that follows from the calls: what a planner schedules and a technician carries out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from condlube.advisory.job import Job, job, listening
from condlube.advisory.matters import Matter, act_by
from condlube.explain.cautions import GENERAL, cautions
from condlube.explain.instructions import FORM, how
from condlube.explain.sentences import look_for, second, sentence, until
from condlube.policy.model import Policy
from condlube.schema.words import AUTOMATIC_SUPPLIES

_PLACE = ("route", "area", "machine_id", "position", "bearing_id")
_DOSE = ("grease_id", "grease_g", "strokes", "shots")
_WHY = ("how", "why", "also", "permit", "cautions")
WORK_COLUMNS = (*_PLACE, "criticality", "task", "since", "by", *_DOSE, *_WHY, *FORM)
INSPECTION_COLUMNS = (
    *_PLACE, "criticality", "since", "by", "look_at", "look_for", *_DOSE, *_WHY, "done_by", "done_at", "finding",
    "failure_mode", "level", "note",
)  # fmt: skip
GREASE, FALLS_DUE = "grease", "falls due: look at the calls again by then"
CHECK_SUPPLY = "check lubricator, level and line"

Rows = Mapping[str, dict[str, Any]]
Evidence = Mapping[str, list[dict[str, Any]]]
Standing = Mapping[str, Matter]
"""The matter that stands, by bearing: its first night is, with place and task, the key of a work order that lasts."""


def is_work(decision: Mapping[str, Any], last: date) -> bool:
    """Whether there is something to grease, or a greasing falls due up to ``last``."""
    due = decision["due_date"] is not None and decision["due_date"] <= last
    return decision["call"] == "grease" or (decision["call"] == "hold" and due and decision["grease_g"] is not None)


def work(
    decisions: Rows, evidence: Evidence, bearings: Rows, night: date, horizon_days: int, policy: Policy,
    standing: Standing,
) -> list[dict[str, Any]]:  # fmt: skip
    """Grease calls, and holds that fall due within the horizon, by route and place."""
    last = night + timedelta(days=horizon_days)
    made = []
    for name, decision in decisions.items():
        if is_work(decision, last):
            row = _row(bearings[name], decision, evidence[name], policy, standing.get(name))
            automatic = bearings[name]["supply"] in AUTOMATIC_SUPPLIES
            task = FALLS_DUE if decision["call"] == "hold" else CHECK_SUPPLY if automatic else GREASE
            made.append({**row, "task": task})
    return by_place(made)


def inspections(
    decisions: Rows, evidence: Evidence, bearings: Rows, policy: Policy, standing: Standing
) -> list[dict[str, Any]]:
    """Inspections, by route and place; with the dose where greasing is due as well."""
    return by_place(
        {
            **_row(bearings[name], decision, evidence[name], policy, standing.get(name)),
            "look_at": decision["look_at"],
            "look_for": look_for(decision),
        }
        for name, decision in decisions.items()
        if decision["call"] == "inspect"
    )


def by_place(tasks: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Tasks in the order in which they are walked."""
    return sorted(tasks, key=lambda task: tuple(task[name] or "" for name in _PLACE))


def _row(
    bearing: dict[str, Any],
    decision: dict[str, Any],
    evidence: list[dict[str, Any]],
    policy: Policy,
    matter: Matter | None,
) -> dict[str, Any]:
    by = act_by(decision, matter)
    dose = policy.for_criticality(bearing["criticality"]).dose
    asked = job(decision, bearing, evidence, dose)
    listens = listening(decision, evidence, dose)
    told = cautions(bearing, decision)
    shots = dose.shots if listens else 0
    greased = decision["call"] == "grease" or asked.grease_g
    return {
        **{name: bearing[name] for name in (*_PLACE, "criticality")},
        "since": matter.first if matter else None,
        "by": by,
        "when": until(by, matter is not None and matter.late(decision["night"])),
        **_dose(bearing, asked),
        "how": how(bearing, decision, shots, dose.shot_wait_min) if greased else "",
        "why": sentence(decision, evidence),
        "also": second(decision),
        "permit": "hazardous area permit" if bearing["hazardous_area"] else "",
        "cautions": " ".join(told),
        "hazards": [line for line in told if line not in GENERAL],
    }


def _dose(bearing: Mapping[str, Any], asked: Job) -> dict[str, Any]:
    """The dose by hand; none beside an automatic supply, which is looked at first."""
    if asked.grease_g is None or bearing["supply"] in AUTOMATIC_SUPPLIES:
        return dict.fromkeys(_DOSE)
    return {"grease_id": asked.grease_id, "grease_g": round(asked.grease_g, 1), "strokes": asked.strokes,
            "shots": asked.shots or None}  # fmt: skip
