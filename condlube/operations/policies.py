"""Policies side by side: the one in force, those that earlier runs used, and those that lie in the site's folder."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, NamedTuple

from condlube.errors import CondlubeError, ConfigurationError
from condlube.operations.check import read_policy
from condlube.operations.definition import Definition, default_policy
from condlube.operations.desk import Desk, NotThere, Sight
from condlube.operations.files import write_whole
from condlube.policy.diff import Difference, differences
from condlube.policy.model import Policy
from condlube.policy.parse import key_lines, parse_policy

IN_FORCE, DEFAULT = "in_force", "default"
FOLDER = "policies"


class Entry(NamedTuple):
    """One key of a policy: its value, the default's where that differs, and what it means."""

    key: str
    value: Any
    default: Any
    meaning: str


@dataclass(frozen=True)
class Choice:
    """A policy that can be looked at. ``nights`` are the first and last night that used it, None if none did."""

    name: str
    digest: str
    author: str
    reason: str
    nights: tuple[date, date] | None
    policy: Policy


def choices(desk: Desk, sight: Sight) -> dict[str, Choice]:
    """Every policy at hand by name: in force, default, files of the site, those that a tuning proposed, and by digest
    those of earlier runs."""
    used: dict[str, list[date]] = {}
    for run in sight.runs:
        used.setdefault(run["policy_digest"], []).append(run["night"])
    found: dict[str, Choice] = {}

    def offer(name: str, policy: Policy) -> None:
        nights = used.get(policy.digest)
        span = (nights[0], nights[-1]) if nights else None
        found[name] = Choice(name, policy.digest, policy.policy.author, policy.policy.reason, span, policy)

    offer(IN_FORCE, read_policy(desk.definition))
    offer(DEFAULT, parse_policy(default_policy(), "default.toml"))
    for path in _files(desk.definition):
        try:
            offer(path.name, parse_policy(path.read_text(encoding="utf-8"), path.name, default_policy()))
        except (ConfigurationError, OSError, UnicodeDecodeError):
            continue
    for row in sight.snapshot.ledger_rows("policies"):
        if all(row["digest"] != choice.digest for choice in found.values()):
            try:
                offer(row["digest"][:12], parse_policy(row["text"], row["digest"][:12]))
            except ConfigurationError:
                continue
    return found


def unreadable(definition: Definition) -> dict[str, str]:
    """Files of policies that are no policy, and why."""
    found = {}
    for path in _files(definition):
        try:
            parse_policy(path.read_text(encoding="utf-8"), path.name, default_policy())
        except (ConfigurationError, OSError, UnicodeDecodeError) as error:
            found[path.name] = str(error)
    return found


def chosen(found: Mapping[str, Choice], name: str) -> Choice:
    """The policy of that name. Raises ``NotThere``."""
    if name not in found:
        raise NotThere(f"no policy {name!r}; there are {', '.join(found)}")
    return found[name]


def entries(policy: Policy) -> dict[str, list[Entry]]:
    """Every key of a policy by section, in the order of the default policy, which says what each means."""
    text = default_policy()
    default = parse_policy(text, "default.toml")
    differing = {d.key: d for d in differences(default, policy)}
    lines = text.splitlines()
    made: dict[str, list[Entry]] = {}
    for key, line in key_lines(text).items():
        value = _value(policy, key)
        if value is None or is_dataclass(value):
            continue
        _, _, comment = lines[line - 1].partition("#")
        section = key.rpartition(".")[0]
        default_value = differing[key].before if key in differing else None
        made.setdefault(section, []).append(Entry(key, value, default_value, comment.strip()))
    for key, difference in differing.items():
        if key.startswith("criticality."):
            section = ".".join(key.split(".")[:2])
            made.setdefault(section, []).append(Entry(key, difference.after, difference.before, ""))
    return made


def section_comments() -> dict[str, str]:
    """What the default policy says beside the head of a section."""
    return dict(re.findall(r"(?m)^\[([\w.]+)\]\s*#\s*(.+)$", default_policy()))


def compare(before: Policy, after: Policy) -> list[Difference]:
    """Every key that differs."""
    return differences(before, after)


def approve(desk: Desk, choice: Choice, who: str, reason: str, now: datetime) -> Path:
    """Write the policy, signed, into the site's folder of policies, and give the file. The policy in force stays as it
    is: the definition names it, and a person changes that.

    Raises ``CondlubeError`` without a name or a reason.
    """
    who, reason = " ".join(who.split()), " ".join(reason.split())
    if not who or not reason or not (who + reason).isprintable():
        raise CondlubeError("approving a policy needs a name and a reason")
    text = _signed(choice.policy.text, who, reason)
    parse_policy(text, "approved policy", default_policy())
    path = _folder(desk.definition) / f"approved-{desk.today(now)}-{choice.digest[:12]}.toml"
    write_whole(path, text)
    return path


def _signed(text: str, who: str, reason: str) -> str:
    for key, value in (("author", who), ("reason", reason)):
        quoted = value.replace("\\", "\\\\").replace('"', '\\"')
        begin, line, end = re.split(rf"(?m)^({key} = .*)$", text, maxsplit=1)
        text = f'{begin}{key} = "{quoted}"{end}' if line else text
    return text


def _files(definition: Definition) -> list[Path]:
    """Files of the site's folder of policies, and what tunings left in the output folder."""
    return [*sorted(_folder(definition).glob("*.toml")), *sorted(definition.output.glob("policy-proposed-*.toml"))]


def _folder(definition: Definition) -> Path:
    return definition.folder / FOLDER


def _value(policy: Policy, key: str) -> Any:
    value: Any = policy
    for name in key.split("."):
        if not hasattr(value, name):
            return None
        value = getattr(value, name)
    return value
