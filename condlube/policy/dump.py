"""A policy back to TOML: whole, canonical, the same text for the same numbers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from typing import Any


def dump(policy: Any, sections: Iterable[str] | None = None) -> str:
    """The policy as TOML, or only some of its sections. Reads back as an equal policy."""
    wanted = [f.name for f in fields(policy) if f.init] if sections is None else list(sections)
    lines: list[str] = []
    for name in wanted:
        _section(name, getattr(policy, name), None, lines)
    for criticality, own in policy.by_criticality if sections is None else ():
        for name in wanted:
            _section(f"criticality.{criticality}.{name}", getattr(own, name), getattr(policy, name), lines)
    return "\n".join(lines).lstrip("\n") + "\n"


def _section(path: str, value: Any, base: Any, lines: list[str]) -> None:
    """Append one table; with ``base``, only what differs from it."""
    if value == base:
        return
    nested = [f.name for f in fields(value) if is_dataclass(getattr(value, f.name))]
    plain = [f.name for f in fields(value) if f.name not in nested]
    if plain or not nested:
        lines.extend(["", f"[{path}]"])
    for name in plain:
        if base is None or getattr(value, name) != getattr(base, name):
            lines.append(f"{name} = {_value(getattr(value, name))}")
    for name in nested:
        _section(f"{path}.{name}", getattr(value, name), None if base is None else getattr(base, name), lines)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return repr(value)
