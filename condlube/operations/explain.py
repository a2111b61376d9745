"""One decision with its reasoning, from the store alone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from condlube.advisory.change import Change, changes
from condlube.advisory.job import job
from condlube.advisory.matters import Matter, act_by
from condlube.errors import CondlubeError
from condlube.explain import readers
from condlube.explain.cautions import cautions
from condlube.explain.interval import interval_lines
from condlube.explain.sentences import other_policy, second, sentence, stands
from condlube.explain.table import table
from condlube.explain.table import text as table_text
from condlube.operations.desk import Desk, evidence_of
from condlube.operations.files import json_text
from condlube.operations.matters import standing_matters
from condlube.policy.model import Policy

Row = dict[str, Any]


@dataclass(frozen=True)
class Explained:
    """Rows of the schema for one bearing and night, and what would change the call."""

    bearing: Row
    decision: Row
    evidence: list[Row]
    changes: list[Change]
    run: Row
    policy: Policy
    matter: Matter | None

    def json(self) -> str:
        """The rows as stored."""
        return json_text({
            "sentence": sentence(self.decision, self.evidence),
            "decision": self.decision,
            "evidence": self.evidence,
            "would_change": [asdict(change) for change in self.changes],
            "bearing": self.bearing,
            "run": self.run,
            "matter": asdict(self.matter) if self.matter else None,
        })  # fmt: skip

    def text(self, width: int) -> str:
        """The decision as an engineer reads it."""
        return "\n".join(self._lines(max(width, 60)))

    def _lines(self, width: int) -> Iterator[str]:
        b, d = self.bearing, self.decision
        name = b["designation"] or b["bearing_type"]
        yield f"{b['bearing_id']}: {b['position'] or 'bearing'} of {b['machine_id']}, {name}"
        yield f"night of {d['night']}, known by {self.run['known_by']:%Y-%m-%d %H:%M} UTC"
        yield ""
        if self.policy.digest != self.run["policy_digest"]:
            yield from _wrapped(other_policy(self.run["policy_digest"]), width)
            yield ""
        yield from _wrapped(sentence(d, self.evidence), width)
        if not d["call"]:
            return
        if also := second(d):
            yield from _wrapped(also, width)
        yield from _wrapped(readers.planner(d, act_by(d, self.matter)), width)
        if self.matter:
            yield from _wrapped(stands(self.matter, d["night"]), width)
        yield ""
        yield "Evidence, in bits: +1 doubles the odds against lubrication in order"
        yield ""
        yield table_text(table(d, self.evidence), width)
        yield ""
        yield from _wrapped(readers.auditor(d, self.run["policy_digest"]), width)
        yield from _titled("Guards", readers.why_guarded(d), width)
        yield from _titled("Interval", interval_lines(b, d, self.evidence), width)
        yield from _titled("What would change the call", readers.what_changes(self.changes, d), width)
        work = job(d, b, self.evidence, self.policy.dose)
        yield from _titled("What to do", readers.technician(work), width)
        if d["call"] != "hold":
            yield from _titled("Cautions", cautions(b, d), width)
        if used := (d["defaults_used"] or "").split():
            yield from _titled("Register defaults used", [", ".join(f"{name} = {b[name]}" for name in used)], width)


def explain(site: Path, bearing_id: str, night: date | None = None) -> Explained:
    """The decision of a bearing on a night, by default the last one decided.

    Raises ``CondlubeError`` when the bearing or the night is not there.
    """
    desk = Desk(site)
    sight = desk.sight(night)
    if bearing_id not in sight.decisions:
        close = get_close_matches(bearing_id, sight.decisions, 3)
        hint = f"; did you mean {' or '.join(close)}?" if close else ""
        raise CondlubeError(f"no bearing {bearing_id!r} was decided on {sight.night}{hint}")
    bearing, decision = dict(sight.bearing(bearing_id)), dict(sight.decisions[bearing_id])
    evidence = evidence_of(sight, [bearing_id])[bearing_id]
    policy = desk.policy(sight.run["policy_digest"])
    found = changes(decision, evidence, policy.for_criticality(bearing["criticality"])) if decision["call"] else []
    matter = standing_matters(sight).get(bearing_id)
    return Explained(bearing, decision, evidence, found, dict(sight.run), policy, matter)


def _titled(title: str, lines: list[str], width: int) -> Iterator[str]:
    if lines:
        yield ""
        yield title
        for line in lines:
            yield from _wrapped(line, width, "  ")


def _wrapped(text: str, width: int, lead: str = "") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=lead + ("  " if lead else ""))
