"""What an ingest did, file by file: every line stored, duplicate or rejected."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from condlube.acquisition.reasons import REASONS

# taken: read and committed; known: taken before; waiting: still being written; refused: cannot be read as a whole.
OUTCOMES = ("taken", "known", "waiting", "refused")
_MANY = 12


@dataclass(frozen=True)
class FileReport:
    """One file. ``lines`` are data lines (long) or filled cells (wide); lines = stored + duplicate + rejected."""

    source: str
    file: str
    outcome: str
    message: str = ""
    ingest_id: str = ""
    lines: int = 0
    stored: int = 0
    duplicate: int = 0
    rejected: int = 0
    empty: int = 0
    by_reason: Mapping[str, int] = field(default_factory=dict)
    unknown_tags: Mapping[str, int] = field(default_factory=dict)
    first: datetime | None = None
    last: datetime | None = None

    def __post_init__(self) -> None:
        if self.lines != self.stored + self.duplicate + self.rejected:
            seen = f"{self.stored} stored + {self.duplicate} duplicate + {self.rejected} rejected"
            raise AssertionError(f"{self.file}: {self.lines} lines are not {seen}")


@dataclass(frozen=True)
class IngestReport:
    """All files of all sources, in the order in which they were looked at."""

    files: tuple[FileReport, ...]

    def of(self, outcome: str) -> list[FileReport]:
        return [file for file in self.files if file.outcome == outcome]

    @property
    def lines(self) -> int:
        return sum(file.lines for file in self.files)

    @property
    def stored(self) -> int:
        return sum(file.stored for file in self.files)

    @property
    def duplicate(self) -> int:
        return sum(file.duplicate for file in self.files)

    @property
    def rejected(self) -> int:
        return sum(file.rejected for file in self.files)

    @property
    def by_reason(self) -> dict[str, int]:
        return _sum(file.by_reason for file in self.files)

    @property
    def unknown_tags(self) -> dict[str, int]:
        return _sum(file.unknown_tags for file in self.files)

    def text(self) -> str:
        """The account as an engineer reads it."""
        taken, known = self.of("taken"), self.of("known")
        files = f"{len(taken)} file{'' if len(taken) == 1 else 's'} taken"
        lines = [
            f"{files}, {len(known)} taken before: {self.lines:,} lines = {self.stored:,} stored "
            f"+ {self.duplicate:,} duplicate + {self.rejected:,} rejected"
        ]
        lines += [f"  {count:>7,} {reason}: {REASONS[reason]}" for reason, count in self.by_reason.items()]
        if unknown := self.unknown_tags:
            lines.append(f"  unknown tags: {tags_text(unknown)}")
        if self.rejected:
            lines.append("  each with file, line and raw text: page Data of `condlube review`; some: ingest --dry-run")
        lines += [f"  {f.outcome}: {f.file}: {f.message}" for f in self.files if f.outcome in ("waiting", "refused")]
        return "\n".join(lines)


def tags_text(tags: Mapping[str, int]) -> str:
    """The first of the tags, each with its lines."""
    shown = ", ".join(f"{shorten(tag, 60) or '(no name)'} ({count:,})" for tag, count in list(tags.items())[:_MANY])
    return shown + (f" and {len(tags) - _MANY:,} more" if len(tags) > _MANY else "")


def shorten(text: str, most: int = 100) -> str:
    """The begin of a text that is too long to be shown, as a row of a wide file with a thousand cells is."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _sum(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    total: Counter[str] = Counter()
    for each in counts:
        total.update(each)
    return dict(total.most_common())
