"""Ingest, preview and guess for a whole site, as the command line and the pages call them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from condlube.operations.check import check, read_register
from condlube.operations.definition import examine, load
from condlube.operations.ingest import ingest
from condlube.operations.ingest_preview import FilePreview, guess_definition, preview
from condlube.operations.ingest_report import FileReport, IngestReport
from condlube.store.store import Store


def ingest_site(path: Path, now: datetime, on_file: Callable[[FileReport], None] = lambda report: None) -> IngestReport:
    """Take in what is new at the site whose definition is at ``path``, and decide nothing.

    Raises ``ConfigurationError`` with everything wrong with the site's files, ``Busy`` when another run is at work,
    ``StoreError`` when the store cannot be used; in each case the last committed state stands.
    """
    checked = check(path)
    with Store.open(checked.definition.store, checked.definition.ledger).writer() as writer:
        return ingest(checked.definition, checked.register, writer, now, on_file)


def preview_site(path: Path, now: datetime) -> str:
    """What an ingest would make of every file of the site, stored or not; nothing is written.

    Raises ``ConfigurationError`` with the faults of definition, sources and register.
    """
    definition = load(path)
    register = read_register(definition)
    shown: list[FilePreview] = preview(definition, register, now)
    zone = register.site.zone
    return "\n".join(each.text(zone) for each in shown) or "no file fits the pattern of any source"


def guess_for_site(sample: Path, name: str, pattern: str, path: Path | None) -> str:
    """TOML of a source definition guessed from ``sample``; the register at ``path``, if any, tells its tags."""
    definition = examine(path)[0] if path else None
    return guess_definition(sample, name, pattern, read_register(definition) if definition else None)
