"""Two policies on one decided night: what differs between them, which calls turn, and what turns each."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from condlube.explain.sentences import sentence
from condlube.operations.backtest import policy_at
from condlube.operations.desk import Desk, Row, Sight
from condlube.operations.files import json_text
from condlube.operations.policies import choices, chosen
from condlube.operations.trial import decide_again
from condlube.policy.diff import Difference, differences, section_of, with_section
from condlube.policy.model import Policy
from condlube.store.rows import rows

_FAILED = "failed"
Told = Mapping[str, tuple[str, str]]
"""Call and sentence by bearing."""


@dataclass(frozen=True)
class Turned:
    """A bearing whose call differs. ``by`` are the sections of the policy each of which alone turns the call so; empty
    where only several together do."""

    bearing_id: str
    before: str
    after: str
    says_before: str
    says_after: str
    by: tuple[str, ...]


@dataclass(frozen=True)
class PolicyDiff:
    """Keys and calls that differ between two policies on a night of so many ``bearings``."""

    night: date
    names: tuple[str, str]
    digests: tuple[str, str]
    bearings: int
    keys: Sequence[Difference]
    calls: Sequence[Turned]

    def json(self) -> str:
        """The same for a machine."""
        return json_text({**asdict(self), "keys": [asdict(d) for d in self.keys],
                          "calls": [asdict(t) for t in self.calls]})  # fmt: skip

    def text(self, width: int) -> str:
        """What a person reads who has to approve the change."""
        return "\n".join(self._lines(max(width, 60)))

    def _lines(self, width: int) -> Iterator[str]:
        (one, other), (digest, other_digest) = self.names, self.digests
        yield f"{one} ({digest[:12]}) and {other} ({other_digest[:12]}), night of {self.night}"
        yield ""
        yield f"{len(self.keys)} keys differ"
        for d in self.keys:
            yield from _wrapped(f"{d.key}: {_value(d.before)} > {_value(d.after)}", width, "  ")
        yield ""
        yield f"{len(self.calls)} of {self.bearings} calls differ"
        for turned in self.calls:
            yield ""
            why = f" ({', '.join(turned.by)})" if turned.by else " (several sections together)"
            yield from _wrapped(f"{turned.bearing_id}: {turned.before} > {turned.after}{why}", width, "  ")
            yield from _wrapped(f"before: {turned.says_before}", width, "    ")
            yield from _wrapped(f"after: {turned.says_after}", width, "    ")


def policy_diff(site: Path, before: str, after: str, night: date | None = None) -> PolicyDiff:
    """What ``after`` would change in the calls of a night, by default the last one decided.

    A policy is a file, or a name of ``policies.choices``. Nothing is written. Raises ``NotThere`` for a name or a night
    that is not there, ``ConfigurationError`` for a file that is no policy.
    """
    desk = Desk(site)
    sight = desk.sight(night)
    one, other = (_policy(desk, sight, name) for name in (before, after))
    old, new = _told(sight, one), _told(sight, other)
    keys = differences(one, other)
    turned = [b for b in sorted({*old, *new}) if old.get(b, (_FAILED, ""))[0] != new.get(b, (_FAILED, ""))[0]]
    by = _turning(sight, one, other, keys, turned, new) if turned else {}
    nothing = (_FAILED, "")
    return PolicyDiff(
        sight.night, (before, after), (one.digest, other.digest), len(new), keys,
        [Turned(b, old.get(b, nothing)[0], new.get(b, nothing)[0], old.get(b, nothing)[1], new.get(b, nothing)[1],
                by.get(b, ())) for b in turned],
    )  # fmt: skip


def _policy(desk: Desk, sight: Sight, name: str) -> Policy:
    return policy_at(Path(name)) if Path(name).is_file() else chosen(choices(desk, sight), name).policy


def _told(sight: Sight, policy: Policy) -> Told:
    decisions, evidence = (rows(table) for table in decide_again(sight, policy))
    by_bearing: dict[str, list[Row]] = {row["bearing_id"]: [] for row in decisions}
    for row in sorted(evidence, key=lambda row: int(row["ordinal"])):
        by_bearing[row["bearing_id"]].append(row)
    return {d["bearing_id"]: (d["call"] or _FAILED, sentence(d, by_bearing[d["bearing_id"]])) for d in decisions}


def _turning(
    sight: Sight, before: Policy, after: Policy, keys: Sequence[Difference], turned: Sequence[str], new: Told
) -> dict[str, tuple[str, ...]]:
    """Sections of ``after`` each of which, put alone into ``before``, makes the call that ``after`` makes."""
    sections = list(dict.fromkeys(section_of(d.key) for d in keys))
    found: dict[str, tuple[str, ...]] = {}
    for section in sections:
        made = _told(sight, with_section(before, after, section))
        for bearing_id in turned:
            if made.get(bearing_id, ("", ""))[0] == new.get(bearing_id, (_FAILED, ""))[0]:
                found[bearing_id] = (*found.get(bearing_id, ()), section)
    return found


def _value(value: Any) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _wrapped(text: str, width: int, lead: str) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=lead + "  ")
