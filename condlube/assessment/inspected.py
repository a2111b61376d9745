"""What an inspection without finding had before it: evidence that has been looked into does not speak twice."""

from __future__ import annotations

import numpy as np

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
    values = np.full_like(evidence.values, np.nan)
    clean = records.clean
    for source in LEVELS:
        values[:, POSITION[source]] = at_inspection(records, evidence, source)
    age_d = (nights.end - clean) / HOUR / 24
    growth = POSITION["growth"]
    values[:, growth] = np.where(age_d < GROWTH_DAYS, evidence.values[:, growth], np.nan)
    began = np.r_[evidence.deviations["onset_date"].to_numpy().astype("datetime64[D]"), np.datetime64("NaT", "D")]
    for source in DATED:
        k = POSITION[source]
        later = began[evidence.row[:, k]] > clean.astype("datetime64[D]")
        values[:, k] = np.where(np.isnat(clean) | later, np.nan, evidence.values[:, k])
    k = POSITION["response"]
    answered = np.r_[times(evidence.deviations["response_to"]), np.datetime64("NaT", "us")][evidence.row[:, k]]
    values[:, k] = np.where(clean > answered, evidence.values[:, k], np.nan)
    values[electrical(nights.bearings, values, policy), POSITION["electrical"]] = 0.0
    seen = kernel.weigh_all(values, tables(policy)).sum(axis=1)
    least = np.maximum(np.minimum(seen, evidence.bits.sum(axis=1)), 0.0)
    faded = np.exp2(-np.nan_to_num(age_d, nan=np.inf) / policy.prior.inspected_half_life_d)
    return np.asarray(least * faded[:, None])


def at_inspection(records: Records, evidence: Evidence, source: str) -> FloatArray:
    """Deviation of a level source on the day of the inspection without finding; NaN where there was none, or where
    the source says nothing tonight."""
    then = evidence.figure(source, "at_inspection")
    return np.where(np.isnat(records.clean) | np.isnan(evidence.value(source)), np.nan, then)
