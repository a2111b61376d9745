"""Which grease and how much: grams from the calculated dose, strokes only of a calibrated gun."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.lubrication.quantity import strokes
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy


def dose(bearings: pd.DataFrame, life: pd.DataFrame, not_greasable: BoolArray, policy: Policy) -> pd.DataFrame:
    """Columns grease_id, grease_g and strokes; empty for bearings that take no grease.

    One calculated dose a visit, never more than the policy's ceiling: what was missed is not caught up. No strokes
    without a calibrated gun, none on an automatic supply, and none where the nearest whole number would be a heavy
    dose: such a dose is weighed.
    """
    ceiling = policy.dose.ceiling_ratio
    grams = life["dose_g"].to_numpy(dtype=np.float64) * min(1.0, ceiling)
    by_hand = (bearings["supply"] == "hand").to_numpy()
    gun = bearings["gun_g_per_stroke"].to_numpy(dtype=np.float64, na_value=np.nan)
    count = strokes(grams, np.where(by_hand, gun, np.nan)).value
    count = np.where(count * gun <= grams * policy.prior.heavy_dose_ratio, count, np.nan)
    grease = bearings["grease_assigned"].astype(object)
    grease = grease.where(grease.notna(), bearings["grease_in_service"].astype(object))
    grease = grease.where(grease != "unknown", None)
    return pd.DataFrame(
        {
            "grease_id": grease.where(~not_greasable, None),
            "grease_g": np.where(not_greasable, np.nan, grams),
            "strokes": pd.array(np.where(not_greasable, np.nan, count), dtype="Float64").astype("Int64"),
        },
        index=bearings.index,
    )
