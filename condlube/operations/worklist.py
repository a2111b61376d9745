"""The work list of a decided night."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from pathlib import Path
from typing import Any

from condlube.operations.desk import Desk, Row, Sight, evidence_of
from condlube.operations.files import json_text
from condlube.operations.matters import work_matters
from condlube.operations.tasks import inspections, is_work, work


@dataclass(frozen=True)
class WorkList:
    """Work of a night: rows with the columns of ``tasks.WORK_COLUMNS``, in the order in which they are walked."""

    site: str
    night: date
    rows: list[dict[str, Any]]

    def json(self) -> str:
        """The rows for a machine."""
        return json_text({"site": self.site, "night": self.night, "work": self.rows})

    def text(self, width: int) -> str:
        """The list as a technician reads it, route by route."""
        return "\n".join(self._lines(max(width, 60)))

    def _lines(self, width: int) -> Iterator[str]:
        yield f"{self.site}: work list, night of {self.night}"
        if not self.rows:
            yield "Nothing to grease, nothing falling due."
        for route, rows in groupby(self.rows, key=lambda row: row["route"] or "no route"):
            yield ""
            yield f"ROUTE {route}"
            for row in rows:
                yield ""
                grease = row["grease_id"] or "its grease"
                grams = "" if row["grease_g"] is None else f"{row['grease_g']:g} g of {grease}"
                strokes = "" if row["strokes"] is None else f", {row['strokes']} strokes"
                dose = f"{grams}{strokes}; " if grams else ""
                yield f"[ ] {row['bearing_id']}  {row['machine_id']}, {row['position'] or ''}  {row['task']}"
                for line in (f"{dose}{row['when'] or 'no date'}", row["how"], row["why"], row["also"],
                             row["permit"], row["cautions"]):  # fmt: skip
                    yield from textwrap.wrap(line or "", width, initial_indent="    ", subsequent_indent="    ")
                yield "    given ____ g   level before ____ after ____   outlet open __   came out ____"


def worklist(site: Path, night: date | None = None) -> WorkList:
    """The work list of a night, by default the last one decided. Raises ``NotThere`` when there is none."""
    desk = Desk(site)
    sight = desk.sight(night)
    return WorkList(sight.register.site.name, sight.night, tasks(desk, sight)[0])


def tasks(desk: Desk, sight: Sight, route: str = "") -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Greasings, with what falls due within the site's horizon, and inspections; of one route where one is named."""
    decided = {b: row for b, row in _to_do(desk, sight).items() if route in ("", route_of(sight.bearings[b]))}
    evidence = evidence_of(sight, decided)
    policy, horizon = desk.policy(sight.run["policy_digest"]), desk.definition.horizon_days
    standing = work_matters(sight)
    return (
        work(decided, evidence, sight.bearings, sight.night, horizon, policy, standing),
        inspections(decided, evidence, sight.bearings, policy, standing),
    )


def routes(desk: Desk, sight: Sight) -> list[str]:
    """Routes on which there is something to do."""
    return sorted({route_of(sight.bearings[b]) for b in _to_do(desk, sight)})


def route_of(row: Row) -> str:
    """Route of a bearing or a task; a hyphen where it is on none."""
    return str(row["route"] or "-")


def _to_do(desk: Desk, sight: Sight) -> dict[str, Row]:
    last = sight.night + timedelta(days=desk.definition.horizon_days)
    return {b: row for b, row in sight.decisions.items() if row["call"] == "inspect" or is_work(row, last)}
