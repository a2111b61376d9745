"""Everything that is wrong with a site's files, at once, and what an engineer should know before trusting the calls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import pyarrow as pa

from condlube.acquisition.tags import binding_faults
from condlube.errors import ConfigurationError, Fault, InvalidArgument
from condlube.operations.definition import Definition, default_policy, examine
from condlube.operations.doubts import doubts
from condlube.operations.readfile import examine_text
from condlube.policy.model import Policy
from condlube.policy.parse import parse_policy
from condlube.register.events import parse_events
from condlube.register.model import Register, Text
from condlube.register.parse import examine_register, parse_register
from condlube.register.points import COLUMNS, REQUIRED
from condlube.register.sheet import read_sheet
from condlube.schema.arrow import arrow_schema
from condlube.units import linear

_T = TypeVar("_T")


@dataclass(frozen=True)
class Checked:
    """A site whose files are free of faults. ``warnings`` are sentences for the engineer; nothing depends on them."""

    definition: Definition
    register: Register
    events: pa.Table
    policy: Policy
    warnings: tuple[str, ...]


def check(path: Path) -> Checked:
    """Read everything that the definition at ``path`` names, a file or the folder that holds ``nightly.toml``.

    Raises
    ------
    ConfigurationError
        With all faults of the definition, its sources, the register, the events and the policy.
    """
    definition, faults = examine(path)
    if definition is None:
        raise ConfigurationError(faults)

    def text(name: str) -> Text | None:
        file: Path | None = getattr(definition, name)
        if file is None or not file.is_file():
            return None
        held, wrong = examine_text(file, definition.shown(file))
        faults.extend(wrong)
        return Text(definition.shown(file), held)

    def attempt(read: Callable[[], _T]) -> _T | None:
        try:
            return read()
        except ConfigurationError as error:
            faults.extend(error.faults)
            return None

    points, events_file = text("points"), text("events")
    unread = [name for name in ("greases", "points") if any(f.column == f"files.{name}" for f in faults)]
    register, wrong, whole = examine_register(text("bearings"), text("greases"), points, definition.site, unread)
    faults.extend(wrong)
    if points is not None:
        faults.extend(unit_faults(points, register))
    if whole:
        faults.extend(f for source in definition.sources for f in binding_faults(source, register.points))
    events = attempt(lambda: events_of(events_file, register, whole))
    policy = attempt(lambda: read_policy(definition))
    if faults or events is None or policy is None:
        raise ConfigurationError(dict.fromkeys(faults))
    return Checked(definition, register, events, policy, tuple(doubts(definition, register, events)))


def read_policy(definition: Definition) -> Policy:
    """The policy in force. Raises ``ConfigurationError`` with all its faults."""
    file, text = definition.policy_text()
    return parse_policy(text, file, default_policy())


def read_register(definition: Definition) -> Register:
    """The register of the site. Raises ``ConfigurationError`` with all its faults."""
    greases = None if definition.greases is None else definition.read(definition.greases)
    points = None if definition.points is None else definition.read(definition.points)
    return parse_register(definition.read(definition.bearings), greases, points, definition.site)


def events_of(source: Text | None, register: Register, whole: bool = True) -> pa.Table:
    """The events that the file holds; none when the site has no such file."""
    return arrow_schema("events").empty_table() if source is None else parse_events(source, register, whole)


def unit_faults(points: Text, register: Register) -> list[Fault]:
    """Points whose unit does not measure their quantity. Needs the units library, which the register does without."""
    wrong: dict[tuple[str, str], str] = {}
    for quantity, unit in set(zip(*(register.points[name].to_pylist() for name in ("quantity", "unit")), strict=True)):
        if quantity is not None and unit is not None:
            try:
                linear(quantity, unit)
            except InvalidArgument as error:
                wrong[quantity, unit] = error.expected
    if not wrong:
        return []
    sheet = read_sheet(points, COLUMNS, REQUIRED, register.site.zone)
    sheet.faults.clear()
    for row, pair in enumerate(zip(sheet["quantity"], sheet["unit"], strict=True)):
        if pair in wrong:
            sheet.blame(row, "unit", wrong[pair])
    return sheet.faults
