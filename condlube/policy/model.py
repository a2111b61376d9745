"""The policy: every threshold, weight, cost and guard parameter. What each number means stands in ``default.toml``."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

from condlube.policy.decision import Change, Costs, Dose, Due, Guards, Life, Prior, Stability, Weights
from condlube.policy.detection import Detection, Reference
from condlube.policy.dump import dump
from condlube.policy.manipulation import Quality, Running, Summary

# Sections that can change a deviation: cached deviations are keyed by them.
MEASURING = ("quality", "running", "summary", "reference", "detection")
# Sections that a criticality may override: deviations are the same for every reader.
OVERRIDABLE = ("prior", "stability", "weights", "cost", "guard", "due", "dose")


@dataclass(frozen=True)
class Heading:
    """Section ``[policy]``: who set these numbers, and why."""

    version: str
    author: str
    reason: str


def _shares_at_interval(prior: Prior) -> dict[str, float]:
    """Probability of each state at x = 1 without evidence, long after the last greasing."""
    shares = {
        "starved": prior.starved_at_interval, "overfilled": prior.overfilled,
        "supply_fault": prior.supply_fault * 2.0 ** (-1.0 / prior.supply_fault_half_life_x),
        "damaged": prior.damaged, "machine_fault": prior.machine_fault, "instrument_fault": prior.instrument_fault,
    }  # fmt: skip
    return {"adequate": 1.0 - sum(shares.values()), **shares}


@dataclass(frozen=True)
class Policy:
    """The rules of a site. ``by_criticality`` holds the whole policy of each criticality that has its own numbers."""

    policy: Heading
    quality: Quality
    running: Running
    summary: Summary
    reference: Reference
    detection: Detection
    life: Life
    prior: Prior
    stability: Stability
    weights: Weights
    cost: Costs
    guard: Guards
    due: Due
    dose: Dose
    change: Change
    by_criticality: tuple[tuple[str, Policy], ...] = field(default=(), init=False)

    def faults(self) -> Iterator[tuple[str, str]]:
        """A bearing of which nothing is known but that its interval is used up is to be greased, not inspected; and
        what makes holding dearer as time goes on must be the starved bearings."""
        shares = _shares_at_interval(self.prior)
        grease, inspect = (
            sum(share * getattr(row, state) for state, share in shares.items())
            for row in (self.cost.grease, self.cost.inspect)
        )
        if inspect <= grease:
            yield "cost.inspect", f"dearer than greasing at x = 1 without evidence, {grease:.3g}; it is {inspect:.3g}"
        hold = sum(share * getattr(self.cost.hold, state) for state, share in shares.items() if state != "starved")
        if hold >= grease - shares["starved"] * self.cost.grease.starved:
            wanted = f"less than greasing at x = 1, {grease:.3g}, in the states other than starved; it is {hold:.3g}"
            yield "cost.hold", wanted

    def for_criticality(self, criticality: str | None) -> Policy:
        """The policy that holds for bearings of this criticality."""
        return dict(self.by_criticality).get(criticality or "", self)

    @cached_property
    def text(self) -> str:
        """The whole policy as TOML, independent of any base: what a run stores, and what reads back as equal."""
        return dump(self)

    @cached_property
    def digest(self) -> str:
        """SHA-256 of ``text``."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @cached_property
    def measuring_digest(self) -> str:
        """SHA-256 of the sections that can change a deviation."""
        return hashlib.sha256(dump(self, MEASURING).encode()).hexdigest()
