"""The night as one HTML file that can be mailed: no server, no script, nothing fetched."""

from datetime import date
from pathlib import Path

from condlube.operations.bearing import waterfall
from condlube.operations.desk import Desk
from condlube.operations.files import write_whole
from condlube.operations.health import health
from condlube.operations.queue import Line, is_flagged, queue_lines, with_evidence
from condlube.web.pages import tasks
from condlube.web.render import HERE, environment
from condlube.web.telling import source_name, told

FILE_NAME = "report.html"
MOST = 200
"""So many flagged bearings are told in full, the most urgent ones."""


def static_report(desk: Desk, night: date | None = None) -> str:
    """The report of a decided night, by default the newest, as one self-contained HTML text."""
    sight = desk.sight(night)
    flagged = [line for line in queue_lines(sight) if is_flagged(line.decision)]
    lines = with_evidence(sight, flagged[:MOST])
    policy = desk.policy(sight.run["policy_digest"])
    jobs, looks = tasks(desk, sight)
    counts: dict[str, int] = {}
    for row in sight.decisions.values():
        counts[row["call"] or "failed"] = counts.get(row["call"] or "failed", 0) + 1
    site = desk.definition.site
    return environment(site.zone, site.name).get_template("report.html").render(
        style=(HERE / "static" / "style.css").read_text(encoding="utf-8"),
        night=sight.night, run=sight.run, counts=counts, flagged=len(flagged),
        lines=[(line, told(line.decision, line.evidence, line.bearing, policy), _bars(line)) for line in lines],
        jobs=jobs, looks=looks, health=health(sight),
    )  # fmt: skip


def write_report(desk: Desk, night: date) -> Path:
    """Write the report beside the night's other files and give its path."""
    path = desk.definition.output / night.isoformat() / FILE_NAME
    write_whole(path, static_report(desk, night))
    return path


def _bars(line: Line) -> list[tuple[str, float, float]]:
    if not line.state:
        return []
    return [(source_name(s.evidence["source"]), s.bits, s.total) for s in waterfall(line.evidence, line.state)]
