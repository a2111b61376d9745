"""The night as one HTML file: gathered from the store, written into the night's output folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from condlube.advisory.change import changes
from condlube.explain.report import MOST_TOLD, Flagged, Night, report
from condlube.explain.sentences import standing
from condlube.explain.table import source_name
from condlube.operations.bearing import waterfall
from condlube.operations.desk import Desk, Sight
from condlube.operations.files import write_whole
from condlube.operations.health import health
from condlube.operations.queue import FLAGGED, Line, queue_lines, together, with_evidence
from condlube.operations.worklist import tasks
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS

FILE_NAME = "report.html"


def write_report(desk: Desk, night: date) -> Path:
    """Write the report beside the night's other files and give its path."""
    path = desk.definition.output / night.isoformat() / FILE_NAME
    write_whole(path, static_report(desk, night))
    return path


def static_report(desk: Desk, night: date | None = None) -> str:
    """The report of a decided night, by default the newest, as one self-contained HTML text."""
    sight = desk.sight(night)
    policy = desk.policy(sight.run["policy_digest"])
    flagged = together([line for line in queue_lines(sight) if line.standing in FLAGGED])
    calls = [row["call"] or "failed" for row in sight.decisions.values()]
    jobs, looks = tasks(desk, sight)
    site = sight.register.site
    return report(Night(
        site.name, site.zone.key, sight.night, sight.run["run_id"], sight.run["known_by"].astimezone(site.zone),
        sight.run["policy_digest"], {call: calls.count(call) for call in (*ACTIONS, "failed")}, len(flagged),
        [_flagged(line, policy) for line in with_evidence(sight, flagged[:MOST_TOLD])], jobs, looks, _data(sight),
    ))  # fmt: skip


def _flagged(line: Line, policy: Policy) -> Flagged:
    own = policy.for_criticality(line.bearing["criticality"])
    bars = [(source_name(s.evidence["source"]), s.bits, s.total) for s in waterfall(line.evidence, line.state)] if (
        line.state
    ) else []  # fmt: skip
    turned = changes(line.decision, line.evidence, own) if line.decision["call"] else []
    stands = standing(line.matter, line.decision["night"]) if line.matter else f"{line.standing} tonight"
    also = [other.bearing_id for other in line.also]
    return Flagged(line.bearing, also, line.decision, line.evidence, stands, line.by, line.state, line.named, bars,
                   turned, line.trend_source, line.trend, line.standing)  # fmt: skip


def _data(sight: Sight) -> list[str]:
    """What the night could and could not hear, and every source."""
    found = health(sight)
    said = ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in sorted(found.statuses.items()))
    lines = [f"Signals of the night: {said or 'none'}."]
    zone = sight.register.site.zone
    for source in found.sources:
        newest = "none yet" if source.last_reading is None else f"{source.last_reading.astimezone(zone):%Y-%m-%d %H:%M}"
        late = ", later than usual" if source.late else ""
        lines.append(
            f"{source.name}: newest reading {newest}{late}; {source.lines:,} lines, {source.stored:,} stored, "
            f"{source.duplicate:,} duplicate, {source.rejected:,} rejected."
        )
    return lines
