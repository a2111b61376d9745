"""The policy: every threshold, weight, cost and guard parameter. What each number means stands in ``default.toml``."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from functools import cached_property

from condlube.policy.decision import Change, Costs, Dose, Due, Guards, Life, Prior, Stability, Weights
from condlube.policy.detection import Detection, Reference
from condlube.policy.dump import dump
from condlube.policy.manipulation import Quality, Running, Summary

# Sections that can change a deviation: cached deviations are keyed by them.
MEASURING = ("quality", "running", "summary", "reference", "detection")
# Sections that a criticality may override: deviations are the same for every reader.
OVERRIDABLE = ("life", "prior", "stability", "weights", "cost", "guard", "due", "dose")


@dataclass(frozen=True)
class Heading:
    """Section ``[policy]``: who set these numbers, and why."""

    version: str
    author: str
    reason: str


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
