"""Errors that a user can act on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class CondlubeError(Exception):
    """Base of every error that condlube raises on purpose; its text is meant for the user."""


class InvalidArgument(CondlubeError, ValueError):
    """One argument of a calculation is not admissible."""

    def __init__(self, argument: str, value: object, expected: str) -> None:
        super().__init__(f"{argument} = {value!r}: expected {expected}")
        self.argument = argument
        self.value = value
        self.expected = expected


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong in a file that a person wrote.

    ``line`` is 1-based; 0 means the file as a whole. ``column`` is a CSV column or a TOML key, ``seen`` the value
    found and ``expected`` what would be accepted.
    """

    file: str
    line: int
    column: str
    seen: str
    expected: str

    def __str__(self) -> str:
        place = self.file + (f":{self.line}" if self.line else "")
        return f"{place}: {self.column or 'file'}: saw {self.seen!r}, expected {self.expected}"


class ConfigurationError(CondlubeError):
    """The faults of register, definitions and policy, all together."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults))
        count = len(self.faults)
        super().__init__("\n".join([f"{count} fault{'s' if count != 1 else ''}:", *(f"  {f}" for f in self.faults)]))


class StoreError(CondlubeError):
    """The store cannot be opened, read or written; the last committed state is unharmed."""


class Busy(StoreError):
    """Another process holds the writer lock."""
