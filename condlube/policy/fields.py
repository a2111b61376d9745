"""What a policy value may be: admissible ranges and words, written beside the type of the field."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol, runtime_checkable


@dataclass(frozen=True)
class Within:
    """A number from ``low`` to ``high``, both included unless ``open_low``. In a list, every number of it."""

    low: float
    high: float
    open_low: bool = False

    def admits(self, value: float) -> bool:
        return (self.low < value if self.open_low else self.low <= value) and value <= self.high

    def __str__(self) -> str:
        start = f"above {self.low:g} up" if self.open_low else f"from {self.low:g}"
        return f"a number {start} to {self.high:g}"


@dataclass(frozen=True)
class Words:
    """One of the given words. In a list, every word of it."""

    words: tuple[str, ...]

    def admits(self, value: str) -> bool:
        return value in self.words

    def __str__(self) -> str:
        return "one of " + ", ".join(self.words)


@runtime_checkable
class Checked(Protocol):
    """A section that checks its fields against each other."""

    def faults(self) -> Iterator[tuple[str, str]]:
        """Yield the key at fault, relative to the section, and what was expected."""
