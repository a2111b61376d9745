"""What the guards look at: a night's facts about each bearing, as arrays over bearing-nights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.advisory.cost import drier, grease_pays
from condlube.advisory.settling import Settling
from condlube.advisory.word import word
from condlube.assessment.evidence import (
    Evidence,
    acceleration_alone,
    baseline_unsettled,
    heard_beside,
    lubrication_lost,
    lubrication_sound,
)
from condlube.assessment.greasings import HOUR, TimeArray, times
from condlube.assessment.inspected import at_inspection
from condlube.assessment.life import grease_in
from condlube.assessment.nights import Nights, distinct
from condlube.assessment.records import Records, latest
from condlube.assessment.sources import LEVELS, FloatArray, IntArray
from condlube.assessment.wording import first_word
from condlube.lubrication.compatibility import Mix, compatibility
from condlube.lubrication.result import BoolArray
from condlube.policy.model import Policy
from condlube.schema.words import LUBRICATION_SENSITIVE

Words = npt.NDArray[np.object_]
STOPPED = "stopped"
"""Reason code of a deviation on a night without running time."""
NO_START = "no_start"
WATCHED, MODERATE, SEVERE = range(3)
"""How far condition may extend an interval, by how harsh the surroundings are."""


@dataclass(frozen=True)
class Situation:
    """Facts of bearing-nights; every field is an array over rows.

    ``x`` is NaN where no interval holds. ``surveyed`` tells that someone has looked since the records began;
    ``survey_week`` that it is this bearing's week to be looked at, and ``survey_in_d`` in how many days that begins.
    ``mismatch`` and ``unsettled`` are the kind of it, empty where there is none; ``unexplained_in_d`` is that of
    ``settling``, ``cap`` names what limits an extension. ``quiet`` tells that the evidence speaks for no fault,
    ``grease_pays`` that greasing is expected to cost no more than holding, ``drier`` that dryness is clearly likelier
    than damage, ``acceleration_alone`` that acceleration is up without ultrasound. ``inspected_d`` is the age of the
    last inspection in days, inf without one. ``deferred_until``, ``grease_until`` and ``inspect_until`` tell until when
    the analyst's word asks to hold, grease and inspect; NaT where it does not, or no longer.
    """

    x: FloatArray
    running_h: FloatArray
    days: FloatArray
    interval_h: FloatArray
    greased: BoolArray
    not_greasable: BoolArray
    mismatch: Words
    unknown_history: BoolArray
    never_recorded: BoolArray
    no_interval: BoolArray
    surveyed: BoolArray
    survey_week: BoolArray
    survey_in_d: FloatArray
    inspected_d: FloatArray
    stopped: BoolArray
    limit_passed: BoolArray
    unsettled: Words
    unexplained_in_d: FloatArray
    quiet: BoolArray
    early_rise: BoolArray
    response_failed: BoolArray
    watched: BoolArray
    lost: BoolArray
    heard_beside: BoolArray
    baseline_unsettled: BoolArray
    grease_pays: BoolArray
    drier: BoolArray
    acceleration_alone: BoolArray
    harsh: npt.NDArray[np.int64]
    cap: Words
    deferred_until: TimeArray
    grease_until: TimeArray
    inspect_until: TimeArray

    def take(self, rows: IntArray) -> Situation:
        """Some of the rows."""
        return Situation(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


def situation(
    nights: Nights,
    greases: pd.DataFrame,
    life: pd.DataFrame,
    records: Records,
    evidence: Evidence,
    odds: FloatArray,
    cost: FloatArray,
    settled: Settling,
    reviews: pd.DataFrame,
    policy: Policy,
) -> Situation:
    """Gather what the guards look at; ``reviews`` name the row that sees them in ``which``."""
    bearings, now = nights.bearings, nights.end
    seal, supply = (bearings[name].to_numpy(dtype=object) for name in ("seal", "supply"))
    reason = life["interval_reason"].to_numpy(dtype=object)
    origin = life["origin"].to_numpy(dtype=object)
    not_greasable = (seal == "sealed") | np.isin(supply, ("oil", "none"))
    inspected_d = np.nan_to_num((now - records.inspected) / HOUR / 24, nan=np.inf)
    ever = np.isin(origin, ("greasing", "replacement")) | ~np.isnat(records.inspected)
    said = word(reviews, evidence, _times_of(life), records.inspected, policy)
    watched = lubrication_sound(evidence)
    harsh, cap = _surroundings(bearings)
    like, who = distinct(bearings["bearing_id"], life["last_grease"])
    return Situation(
        x=life["x"].to_numpy(dtype=np.float64),
        running_h=life["running_h"].to_numpy(dtype=np.float64),
        days=life["days"].to_numpy(dtype=np.float64),
        interval_h=life["interval_h"].to_numpy(dtype=np.float64),
        greased=origin == "greasing",
        not_greasable=not_greasable,
        mismatch=np.where(not_greasable, "", _mismatch(bearings.iloc[like], greases, life.iloc[like])[who]),
        unknown_history=_older(bearings, now, policy) & ~bearings["history_known"].to_numpy(dtype=np.bool_)
        | (reason == NO_START),
        never_recorded=np.isin(origin, ("register", "assumed")),
        no_interval=(reason != "") & (reason != NO_START),
        surveyed=ever,
        survey_week=survey_week(bearings, now),
        survey_in_d=survey_in_d(bearings, now),
        inspected_d=inspected_d,
        stopped=_stopped(nights, evidence),
        limit_passed=(evidence.value("zone") == 3) | (evidence.value("temperature_limit") >= 2),
        unsettled=settled.kind,
        unexplained_in_d=settled.unexplained_in_d,
        quiet=evidence.totals.max(axis=1) < policy.guard.replacement_window.quiet_bits,
        early_rise=early_rise(evidence, answered(records, evidence, policy), policy),
        response_failed=(evidence.value("response") == 2) & ~(records.inspected > _times_of(life)),
        watched=watched,
        lost=lubrication_lost(evidence),
        heard_beside=heard_beside(evidence),
        baseline_unsettled=baseline_unsettled(evidence),
        grease_pays=grease_pays(cost),
        drier=drier(odds, policy),
        acceleration_alone=acceleration_alone(evidence.values),
        harsh=harsh,
        cap=np.where(watched, cap, "unwatched"),
        deferred_until=said.hold,
        grease_until=said.grease,
        inspect_until=said.inspect,
    )


def survey_turns(bearings: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Columns ``survey_turn`` and ``survey_turns``: in which of so many weeks each bearing's history is looked into.

    Ask with all bearings of the register: the turn depends on how many there are on a route. Bearings of unknown
    history take turns among themselves, and so do the others, whose records may prove untrue.
    """
    unknown = ~bearings["history_known"].to_numpy(dtype=np.bool_)
    unknown |= (bearings["commissioned"].isna() & bearings["mounted"].isna()).to_numpy()
    ordered = bearings.assign(unknown=unknown, route=bearings["route"].fillna("")).sort_values("bearing_id")
    groups = ordered.groupby(["site", "route", "unknown"])
    per_week = policy.guard.history_unknown.inspect_per_week
    turn = groups.cumcount() // per_week
    turns = (groups["bearing_id"].transform("size") + per_week - 1) // per_week
    return pd.DataFrame({"survey_turn": turn, "survey_turns": turns}).reindex(bearings.index)


def survey_week(bearings: pd.DataFrame, now: np.datetime64 | TimeArray) -> BoolArray:
    """Whose week it is, by the columns of ``survey_turns``; ``now`` is one instant or one for each row."""
    week = now.astype("datetime64[D]").astype(np.int64) // 7
    return np.asarray(week % bearings["survey_turns"].to_numpy() == bearings["survey_turn"].to_numpy())


def survey_in_d(bearings: pd.DataFrame, now: np.datetime64 | TimeArray) -> FloatArray:
    """Days until the week of each bearing begins; 0 in it."""
    day = now.astype("datetime64[D]").astype(np.int64)
    turns, turn = (bearings[name].to_numpy(dtype=np.int64) for name in ("survey_turns", "survey_turn"))
    weeks = (turn - day // 7) % turns
    return np.asarray(np.where(weeks == 0, 0, 7 * weeks - day % 7), dtype=np.float64)


def _times_of(life: pd.DataFrame) -> TimeArray:
    return times(life["last_greased"])


def _older(bearings: pd.DataFrame, now: TimeArray, policy: Policy) -> BoolArray:
    """Machines old enough to have a history; of unknown age counts as old."""
    begun = pd.to_datetime(bearings["commissioned"]).to_numpy().astype("datetime64[us]")
    age_d = (now - begun) / HOUR / 24
    return np.asarray(~(age_d <= policy.guard.history_unknown.older_than_days))


def _mismatch(bearings: pd.DataFrame, greases: pd.DataFrame, life: pd.DataFrame) -> Words:
    """Why the grease assigned must not follow the one in the bearing: ``unknown`` where nobody knows what is inside,
    ``uncharted`` where no chart has the pair, ``incompatible``, or ``untested`` where only a mixture test can tell."""
    inside = grease_in(bearings, life["last_grease"].to_numpy(dtype=object)).to_numpy(dtype=object)
    assigned = bearings["grease_assigned"].astype(object).to_numpy(dtype=object)
    known = greases.set_index("grease_id")[["thickener", "base_oil"]].astype(object)
    old, new = known.reindex(inside).fillna("unknown"), known.reindex(assigned).fillna("unknown")
    mixing = compatibility(
        old["thickener"].to_numpy(dtype=object), new["thickener"].to_numpy(dtype=object),
        same_product=np.asarray(inside == assigned, dtype=np.bool_),
        base_oil_in_service=old["base_oil"].to_numpy(dtype=object),
        base_oil_assigned=new["base_oil"].to_numpy(dtype=object),
    )  # fmt: skip
    both = pd.notna(inside) & pd.notna(assigned)
    return first_word(
        {
            "unknown": inside == "unknown",
            "incompatible": both & (mixing.answer == Mix.INCOMPATIBLE),
            "uncharted": both & (mixing.answer == Mix.UNKNOWN),
            "untested": both & mixing.borderline,
        }
    )


def _stopped(nights: Nights, evidence: Evidence) -> BoolArray:
    """Isolated by an event and not returned, or without running time tonight."""
    which, kind = (nights.told[name].to_numpy() for name in ("which", "kind"))
    spells = int(nights.spell.max(initial=-1)) + 1
    isolated, returned = (
        latest(spells, which, nights.told["when"].to_numpy(), kind == word)[nights.spell]
        for word in ("isolated", "returned")
    )
    levels = slice(0, len(LEVELS))
    there = evidence.row[:, levels] >= 0
    still = (evidence.reason[:, levels] == STOPPED) & there
    return np.asarray(
        (~np.isnat(isolated) & ~(returned > isolated)) | (still.any(axis=1) & (still == there).all(axis=1))
    )


def answered(records: Records, evidence: Evidence, policy: Policy) -> dict[str, BoolArray]:
    """Where an inspection without finding had about tonight's level of a lubrication-sensitive signal before it."""
    further = policy.guard.early_rise.inspected_db
    return {s: evidence.value(s) < at_inspection(records, evidence, s) + further for s in LUBRICATION_SENSITIVE}


def early_rise(evidence: Evidence, answered: dict[str, BoolArray], policy: Policy) -> BoolArray:
    """Where a lubrication-sensitive signal is clearly up on enough sound readings, and nobody has looked into it."""
    p = policy.guard.early_rise
    signals = [
        (evidence.value(s) >= p.over_db) & (evidence.figure(s, "nights_over") >= p.sound_readings) & ~answered[s]
        for s in LUBRICATION_SENSITIVE
    ]
    return np.asarray(np.logical_or.reduce(signals))


def _surroundings(bearings: pd.DataFrame) -> tuple[npt.NDArray[np.int64], Words]:
    """How much the surroundings forbid stretching an interval, and the first of them that does so; ``watched`` where
    none does."""
    names = ("contamination", "moisture", "drive", "criticality", "orientation")
    word = {name: bearings[name].to_numpy(dtype=object) for name in names}
    severe = {
        "heavy_dirt": word["contamination"] == "heavy_abrasive",
        "water": word["moisture"] == "water",
        "inverter": word["drive"] == "inverter",
        "vertical": (word["orientation"] == "vertical") & ~bearings["effective_seal"].to_numpy(dtype=np.bool_),
        "highest": word["criticality"] == "highest",
    }
    moderate = {
        "dirt": np.isin(word["contamination"], ("heavy_nonabrasive", "light_abrasive")),
        "moisture": np.isin(word["moisture"], ("humid", "condensation")),
    }
    heavy, light = (np.logical_or.reduce(list(applies.values())) for applies in (severe, moderate))
    return np.select([heavy, light], [SEVERE, MODERATE], WATCHED), first_word(severe | moderate, "watched")
