"""TOML text to a policy: every fault at once, each with its file, line and key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Annotated, Any, get_args, get_origin, get_type_hints

from condlube.errors import ConfigurationError, Fault
from condlube.policy.fields import Checked
from condlube.policy.model import OVERRIDABLE, Policy
from condlube.schema import words

_OWN_KEYS = ("base", "criticality")
_KINDS = {float: "a number", int: "a whole number", bool: "true or false", str: "text"}
_MISSING = object()


def parse_policy(text: str, file: str, default: str | None = None) -> Policy:
    """Read a policy.

    Parameters
    ----------
    text
        The policy as TOML. With ``base = "default"`` it holds only what differs from the default policy.
    file
        Name of the file, for messages.
    default
        Text of the default policy; needed by a policy that builds on it.

    Raises
    ------
    ConfigurationError
        With all faults of the text.
    """
    reader = _Reader(file, text)
    document = reader.document()
    base: Mapping[str, Any] = {}
    if "base" in document:
        if document["base"] != "default" or default is None:
            reader.fault("base", document["base"], '"default", or no base and a complete policy')
            raise ConfigurationError(reader.faults)
        base = tomllib.loads(default)
    own = {key: value for key, value in document.items() if key not in _OWN_KEYS}
    whole = _merge({key: value for key, value in base.items() if key not in _OWN_KEYS}, own)
    policy = reader.section(Policy, whole, "")
    by_criticality = _merge(base.get("criticality", {}), document.get("criticality", {}))
    overrides = [(name, _override(reader, whole, name, by_criticality[name])) for name in sorted(by_criticality)]
    if reader.faults:
        raise ConfigurationError(reader.faults)
    object.__setattr__(policy, "by_criticality", tuple(overrides))
    return policy  # type: ignore[no-any-return]


def _override(reader: _Reader, whole: Mapping[str, Any], name: str, changes: Any) -> Any:
    """The policy that holds for bearings of one criticality."""
    if name not in words.CRITICALITIES:
        return reader.fault(f"criticality.{name}", name, "one of " + ", ".join(words.CRITICALITIES))
    if not isinstance(changes, dict):
        return reader.fault(f"criticality.{name}", changes, "a table")
    for section in set(changes) - set(OVERRIDABLE):
        reader.fault(f"criticality.{name}.{section}", section, "one of " + ", ".join(OVERRIDABLE))
    allowed = {section: value for section, value in changes.items() if section in OVERRIDABLE}
    said = {fault.column for fault in reader.faults}
    reader.prefix = f"criticality.{name}."
    policy = reader.section(Policy, _merge(whole, allowed), "")
    reader.faults = [f for f in reader.faults if f.column.removeprefix(reader.prefix) not in said or f.column in said]
    reader.prefix = ""
    return policy


def _merge(base: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(base)
    for key, value in changes.items():
        old = merged.get(key)
        merged[key] = _merge(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
    return merged


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


class _Reader:
    """Turns nested tables into dataclasses and collects what is wrong with them."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text
        self.lines = key_lines(text)
        self.faults: list[Fault] = []
        self.prefix = ""

    def document(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
            place = re.search(r"at line (\d+)", str(error))
            fault = Fault(self.file, int(place[1]) if place else 0, "", str(error), "valid TOML")
            raise ConfigurationError([fault]) from None

    def fault(self, key: str, seen: object, expected: str) -> None:
        key = self.prefix + key
        self.faults.append(Fault(self.file, self._line(key), key, _shown(seen), expected))

    def _line(self, key: str) -> int:
        while key:
            within = [line for name, line in self.lines.items() if name == key or name.startswith(key + ".")]
            if within:
                return self.lines.get(key, min(within))
            key = key.rpartition(".")[0]
        return 0

    def section(self, kind: Any, table: Any, path: str) -> Any:
        """An instance of ``kind``, or None once a fault has been noted."""
        if not isinstance(table, dict):
            return self.fault(path, table, "a table")
        names = [f.name for f in fields(kind) if f.init]
        before = len(self.faults)
        for key in table:
            if key not in names:
                self.fault(_join(path, key), key, "one of " + ", ".join(names) if names else "no key here")
        values = {name: self.value(_hints(kind)[name], table.get(name, _MISSING), _join(path, name)) for name in names}
        if len(self.faults) > before:
            return None
        made = kind(**values)
        if isinstance(made, Checked):
            for key, expected in made.faults():
                self.fault(_join(path, key), _found(table, key), expected)
        return made

    def value(self, hint: Any, seen: Any, path: str) -> Any:
        limits: tuple[Any, ...] = ()
        if get_origin(hint) is Annotated:
            hint, *rest = get_args(hint)
            limits = tuple(rest)
        if is_dataclass(hint):
            return self.section(hint, {} if seen is _MISSING else seen, path)
        expected = _expected(hint, limits)
        if seen is _MISSING:
            return self.fault(path, "nothing", expected)
        if get_origin(hint) is tuple:
            element = get_args(hint)[0]
            if not isinstance(seen, list) or not all(_is(element, v) for v in seen):
                return self.fault(path, seen, expected)
            values = tuple(element(v) for v in seen)
        elif _is(hint, seen):
            values = (hint(seen),)
        else:
            return self.fault(path, seen, expected)
        if not all(limit.admits(v) for limit in limits for v in values):
            return self.fault(path, seen, expected)
        return values if get_origin(hint) is tuple else values[0]


def key_lines(text: str) -> dict[str, int]:
    """Line of every key and table header of a TOML text, 1-based, by full dotted key."""
    lines: dict[str, int] = {}
    header = ""
    for number, line in enumerate(text.splitlines(), 1):
        if found := re.match(r"\s*\[+\s*([^\[\]]+?)\s*\]+\s*(#.*)?$", line):
            header = found[1].replace('"', "").replace(" ", "")
            lines.setdefault(header, number)
        elif found := re.match(r'\s*([A-Za-z0-9_."\- ]+?)\s*=', line):
            lines.setdefault(_join(header, found[1].replace('"', "").replace(" ", "")), number)
    return lines


def _found(table: dict[str, Any], key: str) -> Any:
    """What stands at a dotted key."""
    value: Any = table
    for part in key.split("."):
        value = value.get(part, "nothing") if isinstance(value, dict) else "nothing"
    return "what the section says" if isinstance(value, dict) else value


def _is(kind: type, value: Any) -> bool:
    if kind is float:
        return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < float("inf")
    return isinstance(value, kind) and not (kind is int and isinstance(value, bool))


def _expected(hint: Any, limits: tuple[Any, ...]) -> str:
    several = get_origin(hint) is tuple
    kind = get_args(hint)[0] if several else hint
    wanted = str(limits[0]) if limits else _KINDS[kind]
    if kind is int and limits:
        wanted = wanted.replace("a number", "a whole number")
    return f"a list, each {wanted}" if several else wanted


def _join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _shown(seen: object) -> str:
    text = str(seen)
    return text if len(text) <= 60 else text[:57] + "..."
