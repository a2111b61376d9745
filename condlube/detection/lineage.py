"""A new reference against its family and its parent: one that sits high is brought down, lest it hide a fault.

The family are like points: same quantity, bearing type and speed range. A level learned from few nights is drawn
towards the family's; one more than ``family_spreads`` over it is taken to be a baseline learned on a bearing that was
already starved or damaged, and what exceeds that bound is taken off. The parent is the bearing's own earlier
reference, replaced by a later one only where that sits lower: a baseline that creeps up with every greasing is held
against the lowest the bearing has shown.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.detection.frozen import difference
from condlube.manipulation.expected import Models
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.detection import Reference

SPREAD_WEIGHT = 10.0  # a family's spread counts as so many nights of the point's own (engineering judgement)


def families_of(points: pd.DataFrame) -> list[str]:
    """Name of each signal point's family; empty where type or speed is unknown."""
    made = []
    for quantity, kind, speed in zip(points["quantity"], points["bearing_type"], points["speed_rpm"], strict=True):
        known = isinstance(kind, str) and kind and speed > 0
        band = round(1000 * 2 ** (round(2 * np.log2(speed / 1000)) / 2)) if known else 0
        made.append(f"{quantity} {kind} {band}" if known else "")
    return made


class Family(NamedTuple):
    """Levels and spreads of the latest references of a family."""

    level: float
    between: float
    spread: float
    size: int


def family_of(levels: Floats, spreads: Floats, floor: float) -> Family:
    """Median level, robust spread between members (never under ``floor``) and median night spread."""
    middle = float(np.median(levels))
    between = float(np.median(np.abs(levels - middle))) / 0.6745
    return Family(middle, max(between, floor), float(np.median(spreads)), len(levels))


class Adjusted(NamedTuple):
    """What lineage makes of a fitted reference."""

    taken_off: float
    weight: float
    spread: float


def against_family(models: Models, r: int, family: Family | None, floor: float, policy: Reference) -> Adjusted:
    """Level taken off, weight of the family and spread, after comparison with the family."""
    spread = float(models.spread[r])
    if family is None or family.size - 1 < policy.family_min:
        return Adjusted(0.0, 0.0, spread)
    level, variance = float(models.coefficients[r, 0]), float(models.covariance[r, 0, 0])
    weight = variance / (variance + family.between**2)
    off = weight * (level - family.level)
    off += max(0.0, level - off - (family.level + policy.family_spreads * family.between))
    above = level - family.level
    nights = float(models.nights[r])
    pooled = np.sqrt((nights * spread**2 + SPREAD_WEIGHT * family.spread**2) / (nights + SPREAD_WEIGHT))
    return Adjusted(off, min(1.0, off / above) if above > 0 else weight, max(float(pooled), floor))


def against_parent(
    models: Models, r: Ints, p: Ints, margins: Floats, extended: Bools, policy: Reference
) -> tuple[Floats, Bools]:
    """Level to take off each reference because its parent sits lower, and which are new parents: clearly lower.

    An extended reference is held against what its parent expects beyond the range it has seen, and is no parent.
    """
    over, uncertainty = difference(models, r, p, margins, extended)
    allowed = np.fmax(policy.tolerance_spreads * models.spread[p], uncertainty)
    return np.fmax(0.0, over - allowed), (over < -allowed) & ~extended
