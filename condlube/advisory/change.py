"""What would change a call: per source the smallest single change of its value that turns it.

Reckoned from the stored rows of one decision and its policy, in plain arithmetic: no number is looked up elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf, isnan
from typing import Any

from condlube.advisory.guard_codes import TAKES
from condlube.assessment import plain
from condlube.assessment.sources import LEVELS, POSITION, QUIET_DB
from condlube.policy.decision import Onset, Response
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

CLASSES = {"onset": Onset.classes, "response": Response.classes}
_HALVINGS = 30


@dataclass(frozen=True)
class Change:
    """The nearest value of one source at which the call would be another; ``now`` is None where nothing was weighed."""

    source: str
    now: float | None
    then: float
    word: str
    call: str


def changes(decision: Mapping[str, Any], evidence: Sequence[Mapping[str, Any]], policy: Policy) -> list[Change]:
    """Nearest single change of each source that turns the call; a source that cannot turn it alone is left out.

    Parameters
    ----------
    decision
        Row of ``decisions``.
    evidence
        Its rows of ``evidence``.
    policy
        The policy that decided, of the bearing's criticality.
    """
    reckoned = _Reckoning.of(decision, evidence, policy)
    found: list[Change] = []
    for row in evidence:
        source = str(row["source"])
        if source in LEVELS and row["status"] != "absent":
            found.extend(_nearest(reckoned, source))
        elif source in CLASSES:
            found.extend(_other_class(reckoned, source))
        elif source in ("growth", "collector_share"):
            found.extend(_nearest(reckoned, source))
    return found


def reckon(decision: Mapping[str, Any], evidence: Sequence[Mapping[str, Any]], policy: Policy) -> str:
    """The call, worked out again from the stored rows."""
    reckoned = _Reckoning.of(decision, evidence, policy)
    return reckoned.call(reckoned.values)


@dataclass(frozen=True)
class _Reckoning:
    """One decision as far as its call depends on the values of its sources."""

    prior: tuple[float, ...]
    hold: Mapping[str, float]
    values: Mapping[str, float]
    guards: frozenset[str]
    past_life: bool
    due: bool
    over_before: float | None
    policy: Policy

    @classmethod
    def of(cls, decision: Mapping[str, Any], evidence: Sequence[Mapping[str, Any]], policy: Policy) -> _Reckoning:
        prior = tuple(float(decision[f"prior_{state}"]) for state in STATES)
        days = decision["days_since_greasing"]
        context = {
            **{state: prior[STATES.index(state)] for state in ("damaged", "machine_fault", "instrument_fault")},
            "supply_factor": 1.0,
            "days": float("inf") if days is None or isnan(days) else float(days),
        }
        values = {
            str(row["source"]): float(row["deviation"])
            for row in evidence
            if row["source"] in POSITION and row["status"] == "assessed" and row["deviation"] is not None
        }
        before = next((float(row["deviation"]) for row in evidence if row["source"] == "settling"), None)
        guards = frozenset((decision["guards"] or "").split())
        x = decision["x"] if decision["x"] is not None else float("nan")
        past_life = x >= policy.guard.replacement_window.from_x and "long_overdue" not in guards
        return cls(prior, plain.hold_costs(context, policy), values, guards, past_life, x >= 1.0, before, policy)

    def call(self, values: Mapping[str, float]) -> str:
        bits = plain.weigh(values, self.policy)
        odds = plain.posterior(self.prior, bits)
        cost = plain.costs(odds, self.hold, self.policy)
        guards = self._guards(values, bits) - {"not_dryness"}
        greased = self.due or "asked_grease" in guards
        pays = plain.cheapest(cost, ("grease", "hold")) == "grease"
        likelier = self.policy.guard.not_dryness.likelier
        dry = odds[STATES.index("starved")] >= likelier * odds[STATES.index("damaged")]
        heard = values.get("ultrasound", -inf) >= QUIET_DB or not values.get("acceleration", -inf) >= QUIET_DB
        if (not (dry and heard) if pays else "early_rise" in guards) and not greased:
            guards |= {"not_dryness"}
        taken = {action for code in guards for action in TAKES[code]}
        return plain.cheapest(cost, [a for a in ACTIONS if a not in taken]) or "inspect"

    def _guards(self, values: Mapping[str, float], bits: plain.Bits) -> set[str]:
        """The guards of the night; those that hang on a level that was changed are asked again."""
        guards = set(self.guards)
        if values != self.values:
            loudest = max((sum(column) for column in zip(*bits.values(), strict=True)), default=0.0)
            quiet = loudest < self.policy.guard.replacement_window.quiet_bits
            for code, hangs in (("replacement_window", "sealed" in guards and self.past_life),
                                ("idle", "stopped" in guards)):  # fmt: skip
                guards = guards | {code} if hangs and quiet else guards - {code}
            guards = guards | {"unsettled"} if self._unsettled(values, bits) else guards - {"unsettled"}
        over = self.policy.guard.early_rise.over_db
        for source in ("ultrasound", "acceleration"):
            if values.get(source) != self.values.get(source):
                raised = any(values.get(s, 0.0) >= self._clear(s, over) for s in ("ultrasound", "acceleration"))
                guards = guards | {"early_rise"} if raised else guards - {"early_rise"}
        if values.get("response") != self.values.get("response"):
            failed = values.get("response") == float(Response.classes.index("none"))
            guards = guards | {"response_failed"} if failed else guards - {"response_failed"}
        return guards

    def _unsettled(self, values: Mapping[str, float], bits: plain.Bits) -> bool:
        """Whether the temperature is unsettled: over its level before the greasing, or still up and unexplained. What
        an inspection or the neighbours answer tonight is answered until it has risen further."""
        p, stands = self.policy.guard.unsettled, "unsettled" in self.guards
        over, now = values.get("temperature"), self.values.get("temperature")
        if over is None or now is None:
            return stands
        high = False
        if self.over_before is not None:
            high = self.over_before > p.over_before_k
            least = p.over_before_k if stands or not high else self.over_before + p.rising_k
            if self.over_before + over - now > least:
                return True
        others = (bits[s] for s in LEVELS if s != "temperature" and s in bits)
        alone = not any(max(column) > 0 for column in others)
        return stands and not high and over > p.unexplained_k and alone

    def _clear(self, source: str, over: float) -> float:
        """Level from which a rise is not left alone: where tonight's is, only what has risen further."""
        now = self.values.get(source, 0.0)
        left_alone = now >= over and "early_rise" not in self.guards
        return now + self.policy.guard.early_rise.inspected_db if left_alone else over


def _nearest(reckoned: _Reckoning, source: str) -> Iterator[Change]:
    """Search outwards from the present value on a grid between the anchors, then halve down to the turn."""
    at = getattr(reckoned.policy.weights, source).at
    steps = reckoned.policy.change.steps
    grid = [low + (high - low) * k / steps for low, high in pairwise(at) for k in range(steps)]
    grid.append(at[-1])
    now = reckoned.values.get(source)
    start = _neutral(source) if now is None else min(max(now, at[0]), at[-1])
    base = reckoned.call(reckoned.values)

    def call(value: float) -> str:
        return reckoned.call({**reckoned.values, source: value})

    best: Change | None = None
    for side in (sorted(v for v in grid if v >= start), sorted((v for v in grid if v <= start), reverse=True)):
        last = start
        for value in side:
            if best is not None and abs(value - start) >= abs(best.then - start):
                break
            if (there := call(value)) != base:
                best = Change(source, now, _halve(call, base, last, value) if call(last) == base else value, "", there)
                break
            last = value
    if best is not None:
        yield best


def _halve(call: Any, base: str, same: float, other: float) -> float:
    for _ in range(_HALVINGS):
        middle = (same + other) / 2
        if call(middle) == base:
            same = middle
        else:
            other = middle
    return other


def _other_class(reckoned: _Reckoning, source: str) -> Iterator[Change]:
    """The first other class, or none, with which the call would turn."""
    now = reckoned.values.get(source)
    base = reckoned.call(reckoned.values)
    for k, word in enumerate(CLASSES[source]):
        if float(k) != now and (there := reckoned.call({**reckoned.values, source: float(k)})) != base:
            yield Change(source, now, float(k), word, there)
            return


def _neutral(source: str) -> float:
    """Where a level is as expected."""
    return 1.0 if source in ("velocity", "impulsiveness") else 0.0
