"""What people found at a bearing, as recorded in the events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from condlube.assessment.greasings import NEVER, TimeArray, times
from condlube.assessment.nights import Nights
from condlube.assessment.sources import FINDINGS
from condlube.lubrication.result import BoolArray
from condlube.policy.decision import BEARING_FINDINGS
from condlube.policy.model import Policy
from condlube.schema.words import DEFECT_FINDINGS

PURGES = {"water": "water_in_grease", "dirt": "dirt_in_grease", "metal": "metal_in_grease",
          "hardened": "hardened_grease"}  # fmt: skip
"""What came out of the outlet, as a finding."""


@dataclass(frozen=True)
class Records:
    """Findings and inspections, arrays over rows.

    ``found`` [rows, kinds of finding] is when each kind that still speaks was last found, else NaT. ``clean`` is
    the last inspection without finding, NaT where a later finding or work took its meaning away. ``ever_damaged`` tells
    of damage found since the bearing was mounted, however long ago. ``inspected`` is the last inspection of any kind.
    """

    found: TimeArray
    clean: TimeArray
    inspected: TimeArray
    ever_damaged: BoolArray


def records(nights: Nights, deviations: pd.DataFrame, policy: Policy) -> Records:
    """Read the findings. An event of a whole machine speaks of each of its bearings.

    A finding speaks until an inspection without finding, a replacement, or its age, ends it; a blocked path also until
    a greasing to which the bearing answered and stayed down: grease arrives.
    """
    told, spell = nights.told, nights.spell
    kind, when = told["kind"].to_numpy(dtype=object), told["when"].to_numpy()
    which = told["which"].to_numpy(dtype=np.int64)
    spells = int(spell.max(initial=-1)) + 1
    finding = _findings(told)
    is_none = np.array([f in ("", "none") for f in finding], dtype=np.bool_)
    inspection = kind == "inspection"

    def last(wanted: BoolArray) -> TimeArray:
        return latest(spells, which, when, wanted)[spell]

    replaced = last(kind == "replacement")
    clean = last(inspection & is_none)
    inspected = last(inspection)
    cleared = np.fmax(replaced, clean)
    arrived = _arrived(nights, deviations)
    oldest = nights.end - np.timedelta64(round(policy.prior.finding_days * 24), "h")
    found = np.full((len(spell), len(FINDINGS)), NEVER)
    for k, name in enumerate(BEARING_FINDINGS):
        at = last(finding == name)
        ended = np.fmax(cleared, arrived) if name == "blocked_path" else cleared
        found[:, k] = np.where((at > oldest) & ~(at <= ended), at, NEVER)
    damage = last(finding == "damage")
    last_found = np.fmax.reduce(found, axis=1)
    clean = np.where((last_found > clean) | (replaced > clean), NEVER, clean)
    return Records(found, clean, inspected, ~np.isnat(damage) & ~(damage <= replaced))


def _arrived(nights: Nights, deviations: pd.DataFrame) -> TimeArray:
    """When grease last arrived by the level that fell and stayed down, per row; NaT where nothing tells."""
    held = deviations.loc[deviations["response"] == "held", ["bearing_id", "night", "response_to"]]
    which = nights.find(held["bearing_id"], held["night"])
    return latest(len(nights.end), which, times(held["response_to"]), (which >= 0) & held["response_to"].notna())


def latest(n: int, which: np.ndarray, when: TimeArray, wanted: BoolArray) -> TimeArray:
    """Latest time per bearing among the wanted rows; NaT where there is none."""
    at = np.full(n, np.iinfo(np.int64).min, dtype=np.int64)  # NaT as a number: below every instant
    np.maximum.at(at, which[wanted], when[wanted].astype("datetime64[us]").astype(np.int64))
    return at.astype("datetime64[us]")


def _findings(events: pd.DataFrame) -> np.ndarray:
    """Kind of finding of each event; damage classes of ISO 15243 are one kind, what was purged speaks where nothing
    else was found."""
    stated = events["finding"].fillna("").to_numpy(dtype=object)
    purged = events["purge"].fillna("").str.lower().map(PURGES).fillna("").to_numpy(dtype=object)
    named = [_kind(f) for f in stated]
    return np.array([f if f not in ("", "none") else p or f for f, p in zip(named, purged, strict=True)], dtype=object)


def _kind(finding: str) -> str:
    return finding if finding in ("", "none", *DEFECT_FINDINGS) else "damage"
