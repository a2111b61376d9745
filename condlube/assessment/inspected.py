"""What an inspection without finding had before it: evidence that has been looked into does not speak twice."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.assessment import kernel
from condlube.assessment.evidence import Evidence, electrical
from condlube.assessment.greasings import HOUR, times
from condlube.assessment.nights import Nights
from condlube.assessment.records import Records
from condlube.assessment.sources import LEVELS, POSITION, FloatArray, tables
from condlube.policy.model import Policy

GROWTH_DAYS = 3.0
"""Growth is taken over the last nights: an inspection no older than this saw it."""
DATED = ("onset", "collector_share")
"""Traits that an inspection saw if the rise had begun."""


def seen_bits(nights: Nights, records: Records, evidence: Evidence, policy: Policy) -> FloatArray:
    """Bits that the inspection without finding had before it [rows, states but the first]: 0 or more, never more than
    tonight's, fading with the age of the inspection; 0 where there was none.

    The levels are those of the day of the inspection. Absolute levels are never excused by an inspection.
    """
    rows = np.flatnonzero(~np.isnat(records.clean))
    found = np.zeros((len(records.clean), evidence.bits.shape[2]))
    if not len(rows):
        return found
    clean, row, tonight = records.clean[rows], evidence.row[rows], evidence.values[rows]
    values = np.full_like(tonight, np.nan)
    for source in LEVELS:
        values[:, POSITION[source]] = at_inspection(records, evidence, source)[rows]
    age_d = (nights.end[rows] - clean) / HOUR / 24
    growth = POSITION["growth"]
    values[:, growth] = np.where(age_d < GROWTH_DAYS, tonight[:, growth], np.nan)
    dates = pd.to_datetime(evidence.deviations["onset_date"]).to_numpy().astype("datetime64[D]")
    began = np.r_[dates, np.datetime64("NaT", "D")]
    for k in (POSITION[source] for source in DATED):
        values[:, k] = np.where(began[row[:, k]] > clean.astype("datetime64[D]"), np.nan, tonight[:, k])
    k = POSITION["response"]
    answered = np.r_[times(evidence.deviations["response_to"]), np.datetime64("NaT", "us")][row[:, k]]
    values[:, k] = np.where(clean > answered, tonight[:, k], np.nan)
    values[electrical(nights.bearings.iloc[rows], values, policy), POSITION["electrical"]] = 0.0
    seen = kernel.weigh_all(values, tables(policy)).sum(axis=1)
    least = np.maximum(np.minimum(seen, evidence.bits[rows].sum(axis=1)), 0.0)
    found[rows] = least * np.exp2(-age_d / policy.prior.inspected_half_life_d)[:, None]
    return found


def at_inspection(records: Records, evidence: Evidence, source: str) -> FloatArray:
    """Deviation of a level source on the day of the inspection without finding; NaN where there was none, or where
    the source says nothing tonight."""
    then = evidence.figure(source, "at_inspection")
    return np.where(np.isnat(records.clean) | np.isnan(evidence.value(source)), np.nan, then)
