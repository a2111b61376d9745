"""How early the warnings came, with what is censored taken as such (Kaplan-Meier, statsmodels)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from condlube.assessment.sources import FloatArray


@dataclass(frozen=True)
class Leads:
    """Share of the warned failures whose lead time exceeds ``days``, with its pointwise standard error.

    ``median_d`` is NaN where the share never falls to a half; ``warned`` counts failures with a warning, ``censored``
    those of whose lead only a lower bound is known.
    """

    days: FloatArray
    share: FloatArray
    standard_error: FloatArray
    median_d: float
    warned: int
    censored: int


def leads(found: pd.DataFrame) -> Leads:
    """Lead times of the failures in a table of ``outcomes`` that were warned of, early or late."""
    from statsmodels.duration.survfunc import SurvfuncRight

    rows = found[(found["what"] == "failure") & found["outcome"].isin(("early", "late"))]
    time, cut = rows["lead_d"].to_numpy(dtype=np.float64), rows["censored"].to_numpy(dtype=np.bool_)
    if not len(rows) or cut.all():
        none = np.empty(0)
        return Leads(none, none, none, np.nan, len(rows), int(cut.sum()))
    fitted = SurvfuncRight(time, (~cut).astype(np.int64))
    return Leads(
        np.asarray(fitted.surv_times), np.asarray(fitted.surv_prob), np.asarray(fitted.surv_prob_se),
        float(fitted.quantile(0.5)), len(rows), int(cut.sum()),
    )  # fmt: skip
