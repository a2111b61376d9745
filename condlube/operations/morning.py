"""What a night leaves in its output folder: decisions, evidence, work list, inspections, summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from condlube.operations.check import Checked
from condlube.operations.files import csv_text, json_text, write_whole
from condlube.operations.ingest_report import IngestReport
from condlube.operations.night import NightRun
from condlube.operations.tasks import INSPECTION_COLUMNS, WORK_COLUMNS, Standing, inspections, work
from condlube.schema.tables import TABLES
from condlube.schema.words import ACTIONS, STATES
from condlube.store.rows import rows
from condlube.store.snapshot import Snapshot

_LEADING = ("night", "bearing_id", "call", "basis", "reason", "due_date", "x", "interval_h",
            *(f"p_{s}" for s in STATES), *(f"cost_{a}" for a in ACTIONS),
            "condition_status", "grease_id", "grease_g", "strokes")  # fmt: skip
DECISION_COLUMNS = (*_LEADING, *(c for c in TABLES["decisions"].columns if c not in (*_LEADING, "run_id")))
EVIDENCE_COLUMNS = tuple(c for c in TABLES["evidence"].columns if c != "run_id")
FAILED = "failed"


@dataclass(frozen=True)
class Change:
    """A bearing whose call is another than the night before."""

    bearing_id: str
    before: str
    after: str


@dataclass(frozen=True)
class Morning:
    """One decided night as people meet it. ``decisions`` and ``evidence`` are rows of the schema, by bearing;
    ``changed`` is None where no earlier night was decided."""

    run: NightRun
    folder: Path
    decisions: Mapping[str, dict[str, Any]]
    evidence: Mapping[str, list[dict[str, Any]]]
    bearings: Mapping[str, dict[str, Any]]
    work: list[dict[str, Any]]
    inspections: list[dict[str, Any]]
    changed: list[Change] | None
    before: date | None

    @property
    def failed(self) -> list[str]:
        """Bearings that could not be decided."""
        return [name for name, row in self.decisions.items() if call_of(row) == FAILED]

    @property
    def counts(self) -> dict[str, int]:
        """Bearings by call."""
        found = Counter(call_of(row) for row in self.decisions.values())
        return {call: found[call] for call in (*ACTIONS, FAILED)}


def call_of(decision: Mapping[str, Any]) -> str:
    """The call, or *failed* where there is none."""
    return decision["call"] or FAILED


def write_morning(
    snapshot: Snapshot, checked: Checked, run: NightRun, ingested: IngestReport, standing: Standing
) -> Morning:
    """Write the night's files from what the store holds of the run, and give what they say."""
    morning = read_morning(snapshot, checked, run, standing)
    folder = morning.folder
    write_whole(folder / "decisions.csv", csv_text(DECISION_COLUMNS, morning.decisions.values()))
    shown = [row for own in morning.evidence.values() for row in own]
    write_whole(folder / "evidence.csv", csv_text(EVIDENCE_COLUMNS, shown))
    write_whole(folder / "worklist.csv", csv_text(WORK_COLUMNS, morning.work))
    write_whole(folder / "inspections.csv", csv_text(INSPECTION_COLUMNS, morning.inspections))
    write_whole(folder / "summary.json", json_text(summary(morning, checked, ingested)))
    return morning


def read_morning(snapshot: Snapshot, checked: Checked, run: NightRun, standing: Standing) -> Morning:
    """The night as the store holds it; ``standing`` are the matters that stand, by bearing."""
    own = ("run_id", "=", run.run_id), ("night", "=", run.night)
    decisions = {row["bearing_id"]: row for row in _sorted(snapshot.read("decisions", filters=own), "bearing_id")}
    evidence: dict[str, list[dict[str, Any]]] = {name: [] for name in decisions}
    for row in _sorted(snapshot.read("evidence", filters=own), "bearing_id", "ordinal"):
        evidence[row["bearing_id"]].append(row)
    bearings = {row["bearing_id"]: row for row in rows(checked.register.bearings)}
    before, earlier = _night_before(snapshot, run.night)
    changed = None if before is None else [
        Change(name, earlier.get(name, "new"), call_of(row))
        for name, row in decisions.items() if earlier.get(name, "new") != call_of(row)
    ]  # fmt: skip
    horizon, policy = checked.definition.horizon_days, checked.policy
    return Morning(
        run, checked.definition.output / run.night.isoformat(), decisions, evidence, bearings,
        work(decisions, evidence, bearings, run.night, horizon, policy, standing),
        inspections(decisions, evidence, bearings, policy, standing), changed, before,
    )  # fmt: skip


def summary(morning: Morning, checked: Checked, ingested: IngestReport) -> dict[str, Any]:
    """The night in numbers, for machines."""
    run = morning.run
    return {
        "site": checked.register.site.name,
        "night": run.night,
        "as_of": run.as_of,
        "known_by": run.known_by,
        "run_id": run.run_id,
        "policy": checked.policy.digest,
        "bearings": len(morning.decisions),
        "calls": morning.counts,
        "condition": dict(Counter(row["condition_status"] or FAILED for row in morning.decisions.values())),
        "failed": {name: morning.decisions[name]["failed"] for name in morning.failed},
        "changed": None if morning.changed is None else [vars(change) for change in morning.changed],
        "ingest": {
            "files": {outcome: len(ingested.of(outcome)) for outcome in ("taken", "known", "waiting", "refused")},
            "lines": ingested.lines,
            "stored": ingested.stored,
            "duplicate": ingested.duplicate,
            "rejected": ingested.rejected,
            "by_reason": ingested.by_reason,
            "unknown_tags": ingested.unknown_tags,
        },
    }


def _night_before(snapshot: Snapshot, night: date) -> tuple[date | None, dict[str, str]]:
    """The last earlier night that was decided, and its calls."""
    runs = [run for run in snapshot.ledger_rows("runs") if run["night"] < night]
    if not runs:
        return None, {}
    last = max(runs, key=lambda run: (run["night"], run["commit_id"]))
    filters = [("run_id", "=", last["run_id"]), ("night", "=", last["night"])]
    found = rows(snapshot.read("decisions", ["bearing_id", "call"], filters))
    return last["night"], {row["bearing_id"]: call_of(row) for row in found}


def _sorted(table: Any, *names: str) -> list[dict[str, Any]]:
    return sorted(rows(table), key=lambda row: tuple(row[name] for name in names))
