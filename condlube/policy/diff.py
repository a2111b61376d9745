"""What differs between two policies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from condlube.policy.model import Policy


@dataclass(frozen=True)
class Difference:
    """One key whose value differs; ``None`` where one of the policies has no such key."""

    key: str
    before: Any
    after: Any


def differences(before: Policy, after: Policy) -> list[Difference]:
    """Every key that differs, in the order of the sections; overrides of a criticality under ``criticality.<name>``."""
    found = list(_between("", before, after))
    own, new = dict(before.by_criticality), dict(after.by_criticality)
    for name in sorted(set(own) | set(new)):
        inherited = {(d.key, d.before, d.after) for d in found}
        for d in _between("", own.get(name, before), new.get(name, after)):
            if (d.key, d.before, d.after) not in inherited:
                found.append(Difference(f"criticality.{name}.{d.key}", d.before, d.after))
    return found


def section_of(key: str) -> str:
    """Section that a differing key belongs to, whether of every bearing or of a criticality."""
    parts = key.split(".")
    return parts[2] if parts[0] == "criticality" else parts[0]


def with_section(policy: Policy, other: Policy, section: str) -> Policy:
    """``policy`` with one section of ``other``, for every criticality."""
    made = replace(policy, **{section: getattr(other, section)})
    words = dict(policy.by_criticality) | dict(other.by_criticality)
    own = tuple(
        (word, replace(policy.for_criticality(word), **{section: getattr(other.for_criticality(word), section)}))
        for word in sorted(words)
    )
    object.__setattr__(made, "by_criticality", own)
    return made


def _between(path: str, before: Any, after: Any) -> Iterator[Difference]:
    for field in fields(before):
        if not field.init:
            continue
        key = f"{path}.{field.name}".lstrip(".")
        old, new = getattr(before, field.name), getattr(after, field.name)
        if is_dataclass(old):
            yield from _between(key, old, new)
        elif old != new:
            yield Difference(key, old, new)
