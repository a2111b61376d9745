"""The evidence sources in their order, and the policy's weights as arrays."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from condlube.policy.decision import BEARING_FINDINGS
from condlube.policy.model import Policy
from condlube.schema.words import STATES

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

LEVELS = ("ultrasound", "acceleration", "impulsiveness", "velocity", "temperature")
"""Deviations of a level; each is always a row of the evidence, weighed or not."""
QUIET_DB = 3.0
"""Ultrasound below this is not the other witness of a rise in acceleration."""

TRAITS = ("growth", "collector_share", "onset", "response", "zone", "temperature_limit", "electrical")
"""What else a night may show; a row of the evidence where it says something."""

FINDINGS = tuple("finding." + name for name in BEARING_FINDINGS)
"""What people recorded, one source for each kind of finding."""

SOURCES = LEVELS + TRAITS + FINDINGS
POSITION = {name: k for k, name in enumerate(SOURCES)}

LEVEL_OF = {
    "ultrasound": "ultrasound", "acceleration": "acceleration", "kurtosis": "impulsiveness",
    "crest_factor": "impulsiveness", "velocity": "velocity", "temperature": "temperature",
}  # fmt: skip
"""Evidence source of each measured quantity."""

OTHERS = STATES[1:]
"""States that are weighed against adequate."""


class Tables(NamedTuple):
    """The weight curves as arrays.

    ``anchors`` [sources, most anchors] and ``weights`` [sources, most anchors, states] hold the first ``counts``
    anchors of each source.
    """

    anchors: FloatArray
    weights: FloatArray
    counts: IntArray
    shared_share: float
    growth_from: float


@lru_cache(maxsize=64)
def tables(policy: Policy) -> Tables:
    """Arrays of a policy's weights."""
    curves = [curve(policy, source) for source in SOURCES]
    most = max(len(at) for at, _ in curves)
    anchors = np.zeros((len(SOURCES), most))
    weights = np.zeros((len(SOURCES), most, len(OTHERS)))
    for k, (at, bits) in enumerate(curves):
        anchors[k, : len(at)] = at
        weights[k, : len(at)] = np.transpose(bits)
    counts = np.array([len(at) for at, _ in curves], dtype=np.int64)
    return Tables(anchors, weights, counts, policy.weights.shared_share, policy.weights.growth_from)


def curve(policy: Policy, source: str) -> tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]:
    """Anchors and, per state other than adequate, the bits at the anchors."""
    if source in FINDINGS:
        k = FINDINGS.index(source)
        return (0.0,), tuple((row[k],) for row in policy.weights.finding.bits)
    section = getattr(policy.weights, source)
    return section.anchors, section.bits


def policy_key(source: str) -> str:
    """Key of the policy that weighs a source."""
    return "weights." + source.partition(".")[0]
