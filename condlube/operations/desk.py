"""What the review pages read of one site: each page sees one commit, and what cannot change is read once."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from condlube.errors import CondlubeError, ConfigurationError, StoreError
from condlube.operations.check import read_policy
from condlube.operations.definition import Definition, load
from condlube.policy.model import Policy
from condlube.policy.parse import parse_policy
from condlube.register.canonical import restore
from condlube.register.model import Register
from condlube.store.rows import rows
from condlube.store.store import Snapshot, Store

Row = dict[str, Any]
Kept = TypeVar("Kept")


class NotThere(CondlubeError):
    """What was asked for is not in the store."""


@dataclass(frozen=True, eq=False)
class Sight:
    """One decided night as one commit shows it.

    ``runs`` holds the run that stands for every decided night, oldest first, up to this one; ``decisions`` and
    ``before`` (those of the decided night before) are rows of the schema by bearing_id, ``bearings`` of the register.
    ``kept`` is for what follows from these runs alone: later commits that bring no run share it.
    """

    snapshot: Snapshot
    run: Row
    runs: tuple[Row, ...]
    nights: tuple[date, ...]
    register: Register
    bearings: Mapping[str, Row]
    decisions: Mapping[str, Row]
    before: Mapping[str, Row]
    kept: dict[str, Any]

    @property
    def night(self) -> date:
        night: date = self.run["night"]
        return night

    def keep(self, what: str, key: Hashable, most: int, make: Callable[[], Kept]) -> Kept:
        """What ``make`` gives, made once for each key while the run stands; of each ``what`` those ``most`` are kept
        that were asked for last."""
        held: dict[Hashable, Kept] = self.kept.setdefault(what, {})
        found = held.pop(key, None)
        if found is None:
            found = make()
        for oldest in list(held)[: max(0, len(held) + 1 - most)]:
            held.pop(oldest, None)
        held[key] = found
        return found

    def bearing(self, bearing_id: str) -> Row:
        """Register row of a bearing. Raises ``NotThere``."""
        if bearing_id not in self.bearings:
            raise NotThere(f"no bearing {bearing_id!r} in the register of {self.register.site.name}")
        return self.bearings[bearing_id]

    def decision(self, bearing_id: str) -> Row:
        """Tonight's decision on a bearing. Raises ``NotThere``."""
        if bearing_id not in self.decisions:
            raise NotThere(f"{bearing_id} was not decided on {self.night}")
        return self.decisions[bearing_id]


class Desk:
    """The site behind the review pages. Safe to share between threads."""

    def __init__(self, site: Path) -> None:
        self.definition: Definition = load(site)
        self.store = Store.open(self.definition.store, self.definition.ledger)
        self.policy = lru_cache(maxsize=4)(self._read_policy)
        self._lock = Lock()
        self._sight = lru_cache(maxsize=4)(self._read_sight)
        self._kept = lru_cache(maxsize=4)(_empty)
        self._register = lru_cache(maxsize=4)(self._read_register)
        self._decisions = lru_cache(maxsize=8)(self._read_decisions)

    def sight(self, night: date | None = None) -> Sight:
        """The night as decided, by default the newest. Raises ``NotThere`` when nothing was decided then."""
        try:
            snapshot = self.store.snapshot()
        except StoreError as error:
            if self.store.exists():
                raise
            raise NotThere(f"no night was decided yet: {error}") from error
        with self._lock:
            return self._sight(snapshot.commit_id, night)

    def today(self, now: datetime) -> date:
        """The date at the site."""
        return now.astimezone(self.definition.site.zone).date()

    def _read_sight(self, commit_id: int, night: date | None) -> Sight:
        snapshot = self.store.snapshot(commit_id)
        standing = standing_runs(snapshot.ledger_rows("runs"))
        nights = tuple(run["night"] for run in standing)
        runs = tuple(run for run in standing if night is None or run["night"] <= night)
        if not runs or (night is not None and runs[-1]["night"] != night):
            raise NotThere(
                "no night was decided yet: `condlube nightly` takes the readings in and decides the first"
                if night is None or not nights
                else f"the night {night} was not decided; decided are {nights[0]} to {nights[-1]}"
            )
        kept = self._kept(runs[-1]["night"], max(run["commit_id"] for run in runs))
        register, bearings = self._register(runs[-1]["register_digest"])
        now, before = (
            self._decisions(run["run_id"], run["commit_id"], run["night"]) for run in (runs[-1], runs[-2:][0])
        )
        return Sight(snapshot, runs[-1], runs, nights, register, bearings, now, before if len(runs) > 1 else {}, kept)

    def _read_register(self, digest: str) -> tuple[Register, Mapping[str, Row]]:
        register = restore(self.store.ledger_rows("registers", {"digest": digest})[0]["text"])
        return register, {row["bearing_id"]: row for row in rows(register.bearings)}

    def _read_policy(self, digest: str) -> Policy:
        """The policy that a run used; the one in force where an older package wrote it and this one cannot read it."""
        text = self.store.ledger_rows("policies", {"digest": digest})[0]["text"]
        try:
            return parse_policy(text, f"policy {digest[:12]}")
        except ConfigurationError:
            return read_policy(self.definition)

    def _read_decisions(self, run_id: str, commit_id: int, night: date) -> Mapping[str, Row]:
        found = self.store.snapshot().read("decisions", None, [("run_id", "=", run_id), ("night", "=", night)])
        return {row["bearing_id"]: row for row in rows(found)}


def _empty(night: date, commit_id: int) -> dict[str, Any]:
    return {}


def evidence_of(sight: Sight, bearing_ids: Iterable[str]) -> dict[str, list[Row]]:
    """Tonight's evidence of the bearings, each in its order; an empty list where a bearing has none."""
    wanted = sorted(bearing_ids)
    found = sight.snapshot.read(
        "evidence",
        None,
        [("night", "=", sight.night), ("run_id", "=", sight.run["run_id"]), ("bearing_id", "in", wanted)],
    )
    made: dict[str, list[Row]] = {bearing_id: [] for bearing_id in wanted}
    for row in sorted(rows(found), key=lambda row: row["ordinal"]):
        made[row["bearing_id"]].append(row)
    return made


def standing_runs(runs: list[Row]) -> list[Row]:
    """Of each night the run that was committed last, oldest night first."""
    newest = {run["night"]: run for run in sorted(runs, key=lambda run: run["commit_id"])}
    return [newest[night] for night in sorted(newest)]
