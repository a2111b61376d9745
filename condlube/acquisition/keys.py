"""Typed access to the keys of a TOML document that collects every fault instead of stopping at the first."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

from condlube.errors import Fault


class Keys:
    """The sections of one document. Each key is asked for once; what nobody asked for is a fault in the end."""

    def __init__(self, file: str, content: Mapping[str, Any], lines: Mapping[tuple[str, str], int]) -> None:
        self.file = file
        self.lines = lines
        self.faults: list[Fault] = []
        self._content = content
        self._asked: dict[str, set[str] | None] = {}

    def fault(self, section: str, key: str, seen: object, expected: str) -> None:
        line = self.lines.get((section, key), self.lines.get((section, ""), 0))
        self.faults.append(Fault(self.file, line, f"{section}.{key}".rstrip("."), str(seen), expected))

    def text(self, section: str, key: str, default: str | None, good: Callable[[str], bool], expected: str) -> str:
        """Text that is ``good``; without a default the key must be there."""
        value = self._get(section, key, default)
        if isinstance(value, str) and (value == default or good(value)):
            return value
        self.fault(section, key, "" if value is None else value, expected)
        return default or ""

    def choice(self, section: str, key: str, choices: tuple[str, ...], default: str | None) -> str:
        shown = ", ".join(c or '""' for c in choices)
        return self.text(section, key, default, lambda value: value in choices, f"one of {shown}")

    def number(self, section: str, key: str, default: float, expected: str, above: float = -1e-9) -> float:
        value = self._get(section, key, default)
        if type(value) in (int, float) and (value == default or math.isfinite(value)) and value > above:
            return float(value)
        self.fault(section, key, value, expected)
        return default

    def count(self, section: str, key: str, default: int, least: int) -> int:
        value = self._get(section, key, default)
        if type(value) is int and value >= least:
            return value
        self.fault(section, key, value, f"a whole number, {least} or more")
        return default

    def flag(self, section: str, key: str, default: bool) -> bool:
        value = self._get(section, key, default)
        if isinstance(value, bool):
            return value
        self.fault(section, key, value, "true or false")
        return default

    def day(self, section: str, key: str, default: date) -> date:
        value = self._get(section, key, default)
        if type(value) is date:
            return value
        self.fault(section, key, value, "a date like 2000-01-01")
        return default

    def words(self, section: str, key: str, default: Iterable[str]) -> tuple[str, ...]:
        value = self._get(section, key, list(default))
        if isinstance(value, list) and all(isinstance(word, str) for word in value):
            return tuple(value)
        self.fault(section, key, value, "a list of texts")
        return tuple(default)

    def mapping(self, section: str, good: Callable[[Any], bool], expected: str) -> dict[str, Any]:
        """A whole section whose keys are free; entries that are not ``good`` are faults."""
        self._asked[section] = None
        found = self._section(section)
        for key, value in found.items():
            if not good(value):
                self.fault(section, key, value, expected)
        return {key: value for key, value in found.items() if good(value)}

    def has(self, section: str) -> bool:
        return section in self._content

    def refuse_rest(self) -> None:
        """Every section and key that was never asked for is a fault: most often a spelling mistake."""
        for section, content in self._content.items():
            if section not in self._asked:
                self.fault(section, "", section, "one of the sections " + ", ".join(self._asked))
            elif isinstance(content, Mapping) and (asked := self._asked[section]) is not None:
                for key in content.keys() - asked:
                    self.fault(section, key, key, "one of " + ", ".join(sorted(asked)))

    def _get(self, section: str, key: str, default: object) -> Any:
        asked = self._asked.setdefault(section, set())
        if asked is not None:
            asked.add(key)
        return self._section(section).get(key, default)

    def _section(self, section: str) -> Mapping[str, Any]:
        found = self._content.get(section, {})
        if isinstance(found, Mapping):
            return found
        if not any(f.column == section for f in self.faults):
            self.fault(section, "", found, f"a section [{section}]")
        return {}
