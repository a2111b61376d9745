"""Events of a file held to those on record: what was once recorded is never edited, and a correction is a new event."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from condlube.errors import Fault
from condlube.register.events import COLUMNS, REQUIRED
from condlube.register.model import Register, Text
from condlube.register.sheet import Sheet, read_sheet

Event = Mapping[str, Any]
_PLACE = ("time", "kind", "bearing_id", "machine_id", "point_id")
# Filled in from the register where the file leaves them empty.
_FILLED = ("bearing_id", "machine_id")


class Rows:
    """The rows of an events file as they stand in it, with their lines; ``events`` is what it was parsed to."""

    def __init__(self, source: Text, events: Sequence[Event], register: Register) -> None:
        self._file = source.file
        self._events = events
        self._sheet: Sheet = read_sheet(source, COLUMNS, REQUIRED, register.site.zone)
        self._by_id = {name: row for row, name in enumerate(self._sheet["event_id"]) if name is not None}

    def fault(self, event: Event, column: str, seen: str, expected: str) -> Fault:
        """A fault in the row that says ``event``."""
        return Fault(self._file, self._sheet.lines[self._row(event)], column, seen, expected)

    def edited(self, held: Mapping[str, Event]) -> list[Fault]:
        """Cells that say something else than the event of the same ``event_id`` in ``held``, which stands."""
        faults = []
        for event in self._events:
            own = event["event_id"]
            if own in self._by_id and own in held:
                remedy = f"as recorded; to correct it restore this row and add a new one with supersedes = {own}"
                for name in self._differing(event, held[own]):
                    stored = _shown(held[own][name])
                    faults.append(self.fault(event, name, _shown(event[name]), f"{stored}, {remedy}"))
        return faults

    def told_twice(self, held: Sequence[Event]) -> list[Fault]:
        """Rows without an ``event_id`` beside an event that ``held`` has of the same time, kind and place.

        An edited row looks so: it has another name, so both its old and its new words count.
        """
        names = {event["event_id"] for event in self._events}
        gone = {_place(event): event["event_id"] for event in held if event["event_id"] not in names}
        faults = []
        for event in self._events:
            if event["event_id"] not in self._by_id and not event["supersedes"] and (old := gone.get(_place(event))):
                expected = (
                    f"no second event of the same time, kind and place beside {old}, which is on record; if this row "
                    f"was edited add a row of kind withdrawn with supersedes = {old}"
                )
                faults.append(self.fault(event, "event_id", "", expected))
        return faults

    def _row(self, event: Event) -> int:
        if event["event_id"] in self._by_id:
            return self._by_id[event["event_id"]]
        cells = [self._sheet[name] for name in COLUMNS if name != "event_id"]
        said = [event[name] for name in COLUMNS if name != "event_id"]
        return next(
            row
            for row, found in enumerate(zip(*cells, strict=True))
            if row not in self._by_id.values() and all(c in (None, s) for c, s in zip(found, said, strict=True))
        )

    def _differing(self, event: Event, held: Event) -> list[str]:
        row = self._row(event)
        empty = {name for name in COLUMNS if self._sheet[name][row] is None}
        left = {"known_at", *_FILLED} & empty
        return [name for name in COLUMNS if name not in left and event[name] != held[name]]


def standing(held: Sequence[Event]) -> list[Event]:
    """The events on record that no other supersedes."""
    old = {event["supersedes"] for event in held}
    return [event for event in held if event["event_id"] not in old]


def _place(event: Event) -> tuple[Any, ...]:
    return tuple(event[name] for name in _PLACE)


def _shown(value: object) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return "nothing" if value is None else str(value)
