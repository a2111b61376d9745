"""The nightly batch: take in what is new, decide every bearing, write what people read in the morning."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from condlube.advisory.matters import Matter
from condlube.chain import Plant
from condlube.explain.briefing import briefing
from condlube.operations.check import Checked, check
from condlube.operations.desk import Desk
from condlube.operations.events_file import take_events
from condlube.operations.ingest import ingest
from condlube.operations.ingest_report import FileReport, IngestReport
from condlube.operations.matters import standing_matters, work_matters
from condlube.operations.morning import Morning, summary, write_morning
from condlube.operations.night import run_night
from condlube.operations.report import write_report
from condlube.operations.tasks import FALLS_DUE
from condlube.schema.nights import night_of
from condlube.store.store import Store


@dataclass(frozen=True)
class Nightly:
    """What a nightly batch did: one morning per night, oldest first."""

    checked: Checked
    ingested: IngestReport
    events: int
    doubtful: tuple[str, ...]  # rows of the events file that do not count as they read
    mornings: tuple[Morning, ...]
    matters: Mapping[str, Matter]  # what stands on the last night, by bearing

    @property
    def failed(self) -> int:
        """Bearings that could not be decided, over all nights."""
        return sum(len(morning.failed) for morning in self.mornings)

    def text(self, width: int) -> str:
        """What to read at 06:30: the last night, and in a line each the nights before it."""
        last = self.mornings[-1]
        nights = [f"{m.run.night}: " + ", ".join(f"{n} {call}" for call, n in m.counts.items() if n)
                  for m in self.mornings[:-1]]  # fmt: skip
        data = self.ingested.text().splitlines()
        if self.events:
            data.append(f"{self.events} new events taken in")
        data.extend(f"note: {warning}" for warning in [*self.checked.warnings, *self.doubtful])
        if not last.run.new:
            nights.append(f"night {last.run.night} was decided before from the same data: nothing new to decide")
        page = briefing(
            self.checked.register.site.name, last.run.night, last.run.known_by, last.counts, last.decisions,
            last.evidence, self.matters,
            None if last.changed is None else [(c.bearing_id, c.before, c.after) for c in last.changed], last.before,
            [row for row in last.work if row["task"] == FALLS_DUE], data, width,
        )  # fmt: skip
        return "\n".join([*nights, *([""] if nights else []), page, "", f"Files: {last.folder}"])

    def summary(self) -> dict[str, Any]:
        """The same for machines: one summary per night, and what the site's files leave in doubt."""
        nights = [summary(m, self.checked, self.ingested) for m in self.mornings]
        return {"nights": nights, "notes": [*self.checked.warnings, *self.doubtful]}


def nightly(
    path: Path,
    now: datetime,
    nights: Sequence[date] = (),
    force: bool = False,
    on_file: Callable[[FileReport], None] = lambda report: None,
    on_night: Callable[[Morning], None] = lambda morning: None,
) -> Nightly:
    """Run the nights one after another; without any, the night that ended last before ``now``.

    The report that needs no server is written of the last of them.

    Raises ``ConfigurationError`` with everything wrong with the site's files, ``Busy`` when another run is at work,
    ``StoreError`` when the store cannot be used; in each case the last committed state stands.
    """
    checked = check(path)
    definition = checked.definition
    plant = Plant.of(checked.register)
    store = Store.open(definition.store, definition.ledger)
    desk, mornings = Desk(path), []
    with store.writer() as writer:
        ingested = ingest(definition, checked.register, writer, now, on_file)
        events, doubtful = take_events(writer, checked, now)
        for night in nights or [night_of(now, checked.register.site.zone)]:
            run = run_night(writer, checked, plant, night, now, force)
            sight = desk.sight(night)
            morning = write_morning(writer.snapshot(), checked, run, ingested, work_matters(sight))
            on_night(morning)
            mornings.append(morning)
        write_report(desk, mornings[-1].run.night)
    matters = standing_matters(sight)
    return Nightly(checked, ingested, events, tuple(map(str, doubtful)), tuple(mornings), matters)
