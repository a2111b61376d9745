"""Whether the probabilities meant what they said, on the nights whose state the record tells (scikit-learn)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from condlube.assessment.sources import FloatArray, IntArray

BINS = 8


@dataclass(frozen=True)
class Calibration:
    """``said`` and ``seen`` are mean probability and share that came true, by bins of equal count; ``brier`` the Brier
    score and ``brier_base`` that of always saying the base rate."""

    said: FloatArray
    seen: FloatArray
    brier: float
    brier_base: float
    nights: int


def calibration(probability: FloatArray, state: IntArray) -> Calibration | None:
    """Calibration of the probability that a bearing is not adequate.

    Parameters
    ----------
    probability
        Of not being adequate [nights].
    state
        ``labels`` of the same nights; unknown ones are left out. None where only one answer is on record.
    """
    from sklearn.calibration import calibration_curve
    from sklearn.metrics import brier_score_loss

    known = (state >= 0) & ~np.isnan(probability)
    said, truth = probability[known], (state[known] > 0).astype(np.int64)
    if len(np.unique(truth)) < 2:
        return None
    seen, mean = calibration_curve(truth, said, n_bins=BINS, strategy="quantile")
    base = float(brier_score_loss(truth, np.full(len(truth), truth.mean())))
    return Calibration(mean, seen, float(brier_score_loss(truth, said)), base, len(truth))
