"""Prior probability of each state tonight, from time and context."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.assessment import kernel
from condlube.assessment.evidence import Evidence
from condlube.assessment.greasings import HOUR
from condlube.assessment.inspected import seen_bits
from condlube.assessment.life import grease_in
from condlube.assessment.nights import Nights, distinct
from condlube.assessment.records import Records
from condlube.assessment.rules import CONTEXT, rules
from condlube.assessment.sources import OTHERS, FloatArray, IntArray
from condlube.lubrication.rating_life import fatigue_share, rating_life
from condlube.lubrication.result import BoolArray
from condlube.lubrication.suitability import Verdict, suitability
from condlube.policy.decision import BEARING_FINDINGS, Response
from condlube.policy.model import Policy

LONG_AGO = 1e6
"""Hours or days since a greasing that nobody knows of."""
SUPPLY_FINDINGS = [
    BEARING_FINDINGS.index(name)
    for name in ("leak", "water_in_grease", "dirt_in_grease", "hardened_grease", "blocked_path")
]
"""Findings that take back what time since the greasing had proved of the supply: its prior counts from 0 again. So does
a greasing without response."""
GREASE_ASPECTS = ("highest temperature", "viscosity ratio", "EP additives", "consistency", "water")
"""Aspects of suitability that are a matter of the grease chosen."""


def context(
    life: pd.DataFrame,
    nights: Nights,
    greases: pd.DataFrame,
    records: Records,
    evidence: Evidence,
    policy: Policy,
) -> tuple[FloatArray, dict[str, BoolArray]]:
    """What the priors of each row depend on [rows, ``rules.CONTEXT``], and where the reasons hold that raised or
    lowered them, by code.

    An inspection without finding leaves its share of the faults that it looked for, or takes off the bits of evidence
    that it had before it, whichever is more; of dryness and overfilling only the latter: it put no grease in.
    """
    prior, bearings = policy.prior, nights.bearings
    made = np.empty((len(bearings), len(CONTEXT)))
    column = dict(zip(CONTEXT, made.T, strict=True))
    x = life["x"].to_numpy(dtype=np.float64).copy()
    unrecorded = np.isin(life["origin"].to_numpy(dtype=object), ("register", "assumed")) & np.isnat(records.inspected)
    x[unrecorded & (x > policy.guard.long_overdue.x)] = np.nan  # it was greased since, only nobody wrote it down
    column["x"][:] = np.where(np.isnan(x), prior.x_without_interval, x)
    since = life["x_since"].to_numpy(dtype=np.float64)
    doubted = ~np.isnat(records.found[:, SUPPLY_FINDINGS]).all(axis=1)
    doubted |= evidence.value("response") == Response.classes.index("none")
    column["x_since"][:] = np.where(doubted, 0.0, np.where(np.isnan(since), prior.x_without_interval, since))
    column["running_h"][:] = np.nan_to_num(life["running_h"].to_numpy(dtype=np.float64), nan=LONG_AGO)
    column["days"][:] = np.nan_to_num(life["days"].to_numpy(dtype=np.float64), nan=LONG_AGO)
    column["interval_h"][:] = np.nan_to_num(life["interval_h"].to_numpy(dtype=np.float64), nan=np.inf)
    heavy = life["dose_ratio"].to_numpy(dtype=np.float64) > prior.heavy_dose_ratio
    column["overfilled_added"][:] = np.where(heavy, prior.overfilled_heavy_dose, prior.overfilled_normal_dose)

    like, who = distinct(bearings["bearing_id"], life["last_grease"])
    unsuitable = _unsuitable(bearings.iloc[like], greases, life.iloc[like])[who]
    seen = dict(zip(OTHERS, np.exp2(-seen_bits(nights, records, evidence, policy)).T, strict=True))
    column["starved_factor"][:] = np.where(unsuitable, prior.unsuitable_grease_factor, 1.0) * seen["starved"]
    column["overfilled_factor"][:] = seen["overfilled"]
    days_since = (nights.end - records.clean) / HOUR / 24
    faded = np.exp2(-np.nan_to_num(days_since, nan=np.inf) / prior.inspected_half_life_d)
    left = 1.0 - (1.0 - prior.inspected_factor) * faded
    rated = _fatigue(nights, policy)
    damaged = np.where(records.ever_damaged, prior.damaged_max, np.clip(rated, prior.damaged, prior.damaged_max))
    tonight = np.zeros(len(bearings), dtype=np.bool_)
    points = evidence.deviations
    tonight[points["which"].to_numpy(dtype=np.int64)[(points["status"] == "faulty").to_numpy()]] = True
    history = faulty_shares(evidence)[roughest(evidence)]
    roughness = np.where(tonight, 1.0, np.minimum(history / prior.instrument_rough_share, 1.0))
    instrument = prior.instrument_fault + roughness * (prior.instrument_fault_rough - prior.instrument_fault)
    column["supply_factor"][:] = np.minimum(left, seen["supply_fault"])
    column["damaged"][:] = damaged * np.minimum(left, seen["damaged"])
    column["machine_fault"][:] = prior.machine_fault * np.minimum(left, seen["machine_fault"])
    column["instrument_fault"][:] = instrument * np.minimum(left, seen["instrument_fault"])
    return made, {
        "assumed_x": np.isnan(x),
        "heavy_dose": heavy,
        "unsuitable_grease": unsuitable,
        "supply_doubted": doubted,
        "earlier_damage": records.ever_damaged,
        "rating_life": (rated > prior.damaged) & ~records.ever_damaged,
        "rough_signal": tonight,
        "rough_history": ~tonight & (history > 0),
        "inspected_without_finding": ~np.isnat(records.clean),
    }


def roughest(evidence: Evidence) -> IntArray:
    """The point of each row with the largest share of faulty days, as its row in the deviations; -1 without any."""
    points = evidence.deviations
    which, share = points["which"].to_numpy(dtype=np.int64), faulty_shares(evidence)[:-1]
    order = np.lexsort((share, which))
    order = order[share[order] > 0]
    worst = np.full(len(evidence.row), -1, dtype=np.int64)
    worst[which[order]] = order
    return worst


def faulty_shares(evidence: Evidence) -> FloatArray:
    """Share of faulty days of each row of the deviations; at -1 stands a 0."""
    share = evidence.deviations["faulty_share"].to_numpy(dtype=np.float64, na_value=0.0)
    return np.append(np.nan_to_num(share), 0.0)


def priors(made: FloatArray, policy: Policy) -> FloatArray:
    """Prior of each state [bearings, states] in the contexts."""
    return kernel.prior_all(made, rules(policy))


def _unsuitable(bearings: pd.DataFrame, greases: pd.DataFrame, life: pd.DataFrame) -> BoolArray:
    """Where the grease in the bearing is wrong for its duty: too thin, too soft, out of its range, washed out."""
    inside = grease_in(bearings, life["last_grease"].to_numpy(dtype=object))
    grease = greases.set_index("grease_id").reindex(inside)
    number = {name: grease[name].to_numpy(dtype=np.float64, na_value=np.nan) for name in _GREASE_NUMBERS}
    found = suitability(
        speed_rpm=bearings["speed_rpm"].to_numpy(dtype=np.float64),
        bore_mm=bearings["bore_mm"].to_numpy(dtype=np.float64),
        outside_diameter_mm=bearings["outside_diameter_mm"].to_numpy(dtype=np.float64),
        bearing_type=bearings["bearing_type"].to_numpy(dtype=object),
        ring_temperature_degc=(bearings["housing_degc"] + bearings["housing_to_ring_k"]).to_numpy(dtype=np.float64),
        load_ratio_c_p=bearings["load_ratio"].to_numpy(dtype=np.float64),
        moisture=bearings["moisture"].to_numpy(dtype=object),
        orientation=bearings["orientation"].to_numpy(dtype=object),
        rotating_ring=bearings["rotating_ring"].to_numpy(dtype=object),
        thickener=grease["thickener"].fillna("unknown").to_numpy(dtype=object),
        nlgi=grease["nlgi"].fillna("").to_numpy(dtype=object),
        extreme_pressure=grease["extreme_pressure"].astype(object).map({True: 1.0, False: 0.0}).to_numpy(np.float64),
        **number,
    )
    wrong = [a.verdict == Verdict.WRONG for a in found.aspects if a.name in GREASE_ASPECTS]
    return np.asarray(np.logical_or.reduce([np.broadcast_to(w, len(bearings)) for w in wrong]))


def _fatigue(nights: Nights, policy: Policy) -> FloatArray:
    """Probability that fatigue has begun and not yet ended the bearing: of those alive, the share that fails within
    the P-F interval. 0 where load or mounting date is not given."""
    like, who = distinct(nights.bearings["bearing_id"])
    bearings = nights.bearings.iloc[like]
    given = np.array(["load_ratio" not in str(used).split() for used in bearings["defaults_used"]], dtype=np.bool_)
    mounted = bearings["mounted"].where(bearings["mounted"].notna(), bearings["commissioned"])
    age_d = (nights.end - pd.to_datetime(mounted).to_numpy().astype("datetime64[us]")[who]) / HOUR / 24
    share = bearings["running_share"].to_numpy(dtype=np.float64)[who]
    running_h = np.maximum(np.nan_to_num(age_d), 0.0) * 24 * share
    rated = rating_life(
        bearings["speed_rpm"].to_numpy(dtype=np.float64),
        bearings["load_ratio"].to_numpy(dtype=np.float64),
        bearings["bearing_type"].to_numpy(dtype=object),
    )
    use = given[who] & ~rated.outside[who] & ~np.isnan(age_d)
    rating_h = np.where(use, rated.value[who], 1.0)
    begun = fatigue_share(np.where(use, running_h + policy.prior.damaged_pf_interval_h, 0.0), rating_h)
    gone = fatigue_share(np.where(use, running_h, 0.0), rating_h)
    return np.asarray(np.where(use & (gone < 1.0), (begun - gone) / np.maximum(1.0 - gone, 1e-300), 0.0))


_GREASE_NUMBERS = ("viscosity_40_mm2_s", "viscosity_100_mm2_s", "temperature_min_degc", "temperature_max_degc")
