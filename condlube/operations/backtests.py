"""Backtests that lie in the site's output folder: what each was about, and its report."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from condlube.operations.definition import Definition
from condlube.operations.desk import NotThere

_TOLD = {"first", "last", "nights", "bearings", "bearing_years", "policy", "scores"}
REPORT, SUMMARY = "report.html", "summary.json"


@dataclass(frozen=True)
class Kept:
    """One replay. ``name`` is its folder's; ``summary`` what it wrote for machines, empty where that cannot be read."""

    name: str
    summary: Mapping[str, Any]


def kept_backtests(definition: Definition) -> list[Kept]:
    """Replays that left a report, the newest span first."""
    return [Kept(folder.name, _summary(folder / SUMMARY)) for folder in reversed(_folders(definition))]


def report_of(definition: Definition, name: str) -> str:
    """The report of the replay of that name as HTML. Raises ``NotThere``."""
    for folder in _folders(definition):
        if folder.name == name:
            return (folder / REPORT).read_text(encoding="utf-8")
    raise NotThere(f"no backtest {name!r} in the output folder")


def _folders(definition: Definition) -> list[Path]:
    return sorted(path.parent for path in definition.output.glob(f"backtest-*/{REPORT}") if path.is_file())


def _summary(path: Path) -> Mapping[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) and found.keys() >= _TOLD else {}
