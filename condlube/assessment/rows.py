"""The evidence as rows to store: the prior first, then every level source, then whatever else says something."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.assessment import kernel
from condlube.assessment.evidence import Evidence
from condlube.assessment.nights import Nights
from condlube.assessment.priors import faulty_shares, roughest
from condlube.assessment.sources import LEVELS, OTHERS, SOURCES, FloatArray, policy_key
from condlube.lubrication.result import BoolArray

PRIOR, SETTLING = "prior", "settling"
UNITS = {
    "ultrasound": "dB", "acceleration": "g rms", "impulsiveness": "1", "velocity": "mm/s rms", "temperature": "degC",
    "growth": "spreads", "collector_share": "1", "zone": "mm/s rms", "temperature_limit": "degC",
}  # fmt: skip
"""Unit of observed and expected; of the value itself for growth and share. A recorded finding is observed in days."""
_NAMES = np.array(SOURCES, dtype=object)
_UNITS = np.array([UNITS.get(s, "d" if s.startswith("finding.") else "") for s in SOURCES], dtype=object)
_KEYS = np.array([policy_key(s) for s in SOURCES], dtype=object)
_BITS = [f"bits_{state}" for state in OTHERS]


def evidence_rows(
    nights: Nights, life: pd.DataFrame, prior: FloatArray, codes: dict[str, BoolArray], evidence: Evidence,
    over_before: FloatArray,
) -> pd.DataFrame:  # fmt: skip
    """Rows of the evidence table, without ``run_id``: the bits of a bearing add up to its posterior log-odds.

    ``codes`` are those of ``priors.context``. The prior's row says x as deviation, running hours as observed and the
    interval as expected; its point is the one that was faulty on most days, its coverage the share of its other days.
    A source that could not be assessed is a row of 0 bits. ``deviation`` is always the value that
    was weighed; a class counts from 0. Where the settling of the temperature after a greasing is judged, a row of
    0 bits tells its rise ``over_before`` (K) over the level before: a guard hangs on it.
    """
    which, source = np.nonzero(evidence.shown)
    point = evidence.deviations.reindex(evidence.row[which, source]).reset_index(drop=True)
    assessed = ~np.isnan(evidence.values[which, source])
    is_level = source < len(LEVELS)
    figure = {
        name: np.where(is_level, point[name].to_numpy(dtype=np.float64, na_value=np.nan), beside[which, source])
        for name, beside in (("observed", evidence.observed), ("expected", evidence.expected))
    }
    worst = roughest(evidence)
    held = np.stack(list(codes.values()), axis=1)
    first = pd.DataFrame({
        "which": np.arange(len(nights.end)),
        "source": PRIOR,
        "point_id": evidence.deviations["point_id"].reindex(worst).to_numpy(dtype=object),
        "status": "assessed",
        "deviation": life["x"].to_numpy(),
        "observed": life["running_h"].to_numpy(),
        "expected": life["interval_h"].to_numpy(),
        "unit": "h",
        "window_from": life["last_greased"].to_numpy(),
        "coverage": 1.0 - faulty_shares(evidence)[worst],
        "reason": [" ".join(name for name, is_so in zip(codes, row, strict=True) if is_so) for row in held],
        "policy_key": PRIOR,
    })  # fmt: skip
    others = pd.DataFrame({
        "which": which,
        "source": _NAMES[source],
        "point_id": point["point_id"],
        "status": np.where(assessed, "assessed", point["status"].fillna("absent")),
        "deviation": evidence.values[which, source],
        "observed": figure["observed"],
        "expected": figure["expected"],
        "unit": np.where(is_level & point["unit"].notna(), point["unit"], _UNITS[source]),
        "window_from": point["window_from"].to_numpy(),
        "window_to": point["window_to"].to_numpy(),
        "coverage": point["coverage"],
        "reason": evidence.reason[which, source],
        "policy_key": _KEYS[source],
    })  # fmt: skip
    at = np.flatnonzero(~np.isnan(over_before))
    beside = others[(others["source"] == "temperature") & others["which"].isin(at)]
    rise = over_before[beside["which"]]
    beside = beside.assign(source=SETTLING, deviation=rise, expected=beside["observed"] - rise, reason="",
                           policy_key="guard.unsettled", **dict.fromkeys(_BITS, 0.0))  # fmt: skip
    first[_BITS] = kernel.prior_bits_all(prior)
    others[_BITS] = evidence.bits[which, source]
    rows = pd.concat([first, others, beside], ignore_index=True).sort_values("which", kind="stable", ignore_index=True)
    rows.insert(0, "night", nights.night.astype(object)[rows["which"]])
    rows.insert(1, "bearing_id", nights.bearings["bearing_id"].to_numpy(dtype=object)[rows["which"]])
    rows.insert(2, "ordinal", rows.groupby("which").cumcount())
    return rows.drop(columns="which")
