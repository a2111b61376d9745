"""Files that people open: written whole or not at all, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import os
import time
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_LEFT_S = 86_400.0


def write_whole(path: Path, text: str) -> None:
    """Put ``text`` (UTF-8) at ``path`` in one step: a reader sees the old file or the new one, never half of either."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.part")
    with part.open("w", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def own_part(path: Path) -> Path:
    """Where this process makes what will stand at ``path``: two that make one file do not meet."""
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def clear_parts(folder: Path) -> None:
    """Remove what writers that were killed left half made, once nobody has written to it for a day."""
    for part in folder.glob(".*.part"):
        try:
            if time.time() - part.stat().st_mtime > _LEFT_S:
                part.unlink()
        except FileNotFoundError:  # another has just removed or finished it
            continue


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """CSV of the rows; text that a spreadsheet would run as a formula gets a leading apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in columns])
    return out.getvalue()


def json_text(content: Any) -> str:
    """JSON with dates and times in ISO 8601."""
    return json.dumps(content, indent=2, ensure_ascii=False, default=_plain) + "\n"


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, str):
        return "'" + value if value.startswith(FORMULA_STARTS) else value
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _plain(value) if isinstance(value, date | datetime) else value


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no JSON form")
