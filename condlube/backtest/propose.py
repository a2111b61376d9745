"""A proposed policy: the one in force with other weights, and its text as differences from the default."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from typing import Any

from condlube.backtest.fit import Fitted
from condlube.policy.diff import differences
from condlube.policy.model import Policy

DECIMALS = 2
LARGEST = 40.0


def with_weights(policy: Policy, fitted: Fitted) -> Policy:
    """The policy with the fitted bits, rounded to what people can read; everything else as it is."""
    sections: dict[str, dict[str, list[float]]] = {}
    for state, bits in zip(fitted.moved, fitted.bits.tolist(), strict=True):
        for column, value in zip(fitted.columns, bits, strict=True):
            rounded = round(min(max(value, -LARGEST), LARGEST), DECIMALS) + 0.0
            sections.setdefault(column.source, {}).setdefault(state, []).append(rounded)
    own = policy.weights
    changed = {
        name: replace(getattr(own, name), **{state: tuple(bits) for state, bits in states.items()})
        for name, states in sections.items()
    }
    return same_overrides(policy, replace(policy, weights=replace(own, **changed)))


def headed(policy: Policy, author: str, reason: str) -> Policy:
    """The policy under another heading."""
    heading = replace(policy.policy, version=policy.policy.version + "-proposed", author=author, reason=reason)
    return same_overrides(policy, replace(policy, policy=heading))


def text_of(policy: Policy, default: Policy) -> str:
    """TOML of the policy that builds on the default and holds only what differs."""
    tables: dict[str, list[str]] = {}
    for found in differences(default, policy):
        section, _, key = found.key.rpartition(".")
        tables.setdefault(section, []).append(f"{key} = {_value(found.after)}")
    lines = ['base = "default"']
    for section, keys in tables.items():
        lines += ["", f"[{section}]", *keys]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value)


def same_overrides(old: Policy, new: Policy) -> Policy:
    """``new`` with what ``old`` sets apart for each criticality."""
    made = []
    for word, own in old.by_criticality:
        sections = {
            f.name: getattr(own, f.name) for f in fields(own) if f.init and getattr(own, f.name) != getattr(old, f.name)
        }  # fmt: skip
        made.append((word, replace(new, **sections)))
    object.__setattr__(new, "by_criticality", tuple(made))
    return new
