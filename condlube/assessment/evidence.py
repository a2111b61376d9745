"""What each source says tonight: one value per bearing and source, weighed by the policy's curves."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment import kernel
from condlube.assessment.confirmed import confirmed, number
from condlube.assessment.greasings import times
from condlube.assessment.limits import level_limits, upper_b
from condlube.assessment.nights import Nights
from condlube.assessment.records import Records
from condlube.assessment.sources import (
    FINDINGS,
    LEVEL_OF,
    LEVELS,
    POSITION,
    QUIET_DB,
    SOURCES,
    FloatArray,
    IntArray,
    tables,
)
from condlube.lubrication.result import BoolArray
from condlube.policy.decision import Onset, Response
from condlube.policy.model import Policy
from condlube.schema.words import (
    FAINT,
    HEARD_BESIDE,
    LUBRICATION_SENSITIVE,
    OPERATING_CHANGED,
    REFERENCE_UNSETTLED,
    SECOND_READING,
    STATE_UNCLEAR,
)

RECENT = "recent"
"""Reason code of a rise that came gradually so far, but began only days ago."""
RETURNED = "returned"
"""A level that came back after a greasing came back at once: that is the response, not an onset of its own."""
_SENSITIVE = [POSITION[source] for source in LUBRICATION_SENSITIVE]
_DOUBTED = (OPERATING_CHANGED, HEARD_BESIDE, FAINT)
"""Reason codes of levels that something else than this bearing may explain."""


@dataclass(frozen=True)
class Evidence:
    """The evidence of bearing-nights; arrays [rows, sources].

    ``values`` are what was weighed, NaN where nothing was; ``bits`` [rows, sources, states] as counted. ``row`` is
    the position in ``deviations`` of what spoke (or could have), -1 where there is none; ``observed`` and ``expected``
    stand beside a value that is not itself a deviation. ``reason`` is a code, empty where there is nothing to add.
    """

    deviations: pd.DataFrame
    values: FloatArray
    bits: FloatArray
    row: IntArray
    observed: FloatArray
    expected: FloatArray
    reason: npt.NDArray[np.object_]

    @cached_property
    def totals(self) -> FloatArray:
        """Bits against each state [rows, states]."""
        return np.asarray(self.bits.sum(axis=1))

    @cached_property
    def shown(self) -> BoolArray:
        """Where a source is a row of the evidence [rows, sources]: levels always, whatever else where it says
        something."""
        said = np.asarray((self.bits != 0).any(axis=2))
        said[:, : len(LEVELS)] = True
        return said

    def value(self, source: str) -> FloatArray:
        """What was weighed of one source, NaN where nothing was."""
        return np.asarray(self.values[:, POSITION[source]])

    def figure(self, source: str, column: str) -> FloatArray:
        """A column of the deviations that speak for a source, per bearing; NaN where none does."""
        values = np.r_[number(self.deviations, column), np.nan]
        return np.asarray(values[self.row[:, POSITION[source]]])

    def says(self, *words: str) -> BoolArray:
        """Where the status of what speaks for a level source, or could have, is one of the words [rows, levels]."""
        code, known = self._statuses
        return np.array([word in words for word in known], dtype=np.bool_)[code]

    @cached_property
    def _statuses(self) -> tuple[IntArray, list[str]]:
        """Status of each row and level source, as its number among the words."""
        code, known = pd.factorize(self.deviations["status"])
        return np.append(code, len(known))[self.row[:, : len(LEVELS)]], [*known, "absent"]


def gather(
    nights: Nights, deviations: pd.DataFrame, records: Records, grease_limit_degc: FloatArray, policy: Policy
) -> Evidence:
    """Find what speaks for each row and weigh it.

    Of several points of one quantity the strongest sound one speaks: the one whose bits against any state are highest.
    Growth and onset are those of vibration and ultrasound; temperature rises for reasons of its own after a greasing.
    """
    bearings = nights.bearings
    deviations = _own(nights, deviations)
    which = deviations["which"].to_numpy(dtype=np.int64)
    level = deviations["level"].to_numpy(dtype=np.int64)
    counted, held = confirmed(deviations, upper_b(bearings)[which], policy)
    assessed = (deviations["status"] == "assessed").to_numpy()
    sound = assessed & ~np.isnan(counted)
    deviations["status"] = deviations["status"].mask(assessed & ~sound, "not_testable")
    strength = _strength(counted, level, sound, policy)
    n = len(bearings)
    values = np.full((n, len(SOURCES)), np.nan)
    row = np.full((n, len(SOURCES)), -1, dtype=np.int64)
    observed, expected = np.full_like(values, np.nan), np.full_like(values, np.nan)
    reason = np.full(values.shape, "", dtype=object)

    def put(source: str, at: IntArray, value: npt.ArrayLike, by: IntArray, code: npt.ArrayLike = "") -> None:
        values[at, POSITION[source]] = value
        row[at, POSITION[source]] = by
        reason[at, POSITION[source]] = code

    order = np.lexsort((-counted, -strength, ~sound, level, which))
    first = order[_firsts(which[order] * len(LEVELS) + level[order])]
    row[which[first], level[first]] = first
    heard = first[sound[first]]
    values[which[heard], level[heard]] = counted[heard]
    said = deviations["reason"].fillna("").to_numpy(dtype=object)
    said = np.where((held == SECOND_READING) | (said == ""), held, said)
    reason[which[first], level[first]] = said[first]

    growth = np.where(sound & (level != POSITION["temperature"]), number(deviations, "growth"), np.nan)
    by = _best(which, growth, growth > policy.weights.growth_from)
    put("growth", which[by], growth[by], by)
    louder = _best(which, strength, sound & (strength > 0) & (level != POSITION["temperature"]))
    answer = deviations["response"].astype(object).to_numpy()
    how_abrupt, came = _onset(deviations, policy)
    by = louder[~np.isnan(how_abrupt[louder]) & (answer[louder] != RETURNED)]
    put("onset", which[by], how_abrupt[by], by, came[by])
    loudest = _best(which, strength, sound & (strength > 0))
    share = number(deviations, "share")
    by = loudest[share[loudest] > 0]
    put("collector_share", which[by], share[by], by)
    by = _best(which, -level.astype(np.float64), deviations["response"].isin(Response.classes).to_numpy())
    put("response", which[by], [Response.classes.index(a) for a in answer[by]], by, answer[by])

    limits = level_limits(bearings, deviations, grease_limit_degc, policy, nights.end)
    for source, found in limits.items():
        at = np.flatnonzero(found.row >= 0)
        put(source, at, found.value[at], found.row[at], found.reason[at])
        observed[at, POSITION[source]], expected[at, POSITION[source]] = found.observed[at], found.limit[at]
    by = row[:, POSITION["acceleration"]]
    at = np.flatnonzero(electrical(bearings, values, policy))
    put("electrical", at, 0.0, by[at], "pattern")
    age = (nights.end[:, None] - records.found).astype("timedelta64[D]").astype(np.float64)
    for k, source in enumerate(FINDINGS):
        at = np.flatnonzero(~np.isnat(records.found[:, k]))
        put(source, at, 0.0, np.full(len(at), -1), "recorded")
        observed[at, POSITION[source]] = age[at, k]
    weighed = kernel.weigh_all(values, tables(policy))
    return Evidence(deviations, values, weighed, row, observed, expected, reason)


def _onset(deviations: pd.DataFrame, policy: Policy) -> tuple[FloatArray, npt.NDArray[np.object_]]:
    """How the rise of each row came: 0 gradually, 1 abruptly, in between where it is too young to be known as gradual;
    NaN where nothing tells. Beside it the reason code. Velocity steps for many reasons and tells nothing of dryness:
    abruptly is less there, and gradually nothing."""
    kind = deviations["onset"].astype(object).to_numpy()
    age = pd.to_datetime(deviations["night"]) - pd.to_datetime(deviations["onset_date"])
    shortest = policy.detection.abrupt_days
    longest = shortest * policy.weights.gradual_from
    young = (longest - age.dt.days.to_numpy(dtype=np.float64)) / (longest - shortest)
    young = np.clip(np.nan_to_num(young), 0.0, 1.0)
    gradual, abrupt = ((deviations["onset"] == name).to_numpy() for name in Onset.classes)
    value = np.select([gradual, abrupt], [young, 1.0], np.nan)
    of_velocity = (deviations["quantity"] == "velocity").to_numpy()
    less = np.where(value > 0, policy.weights.velocity_step * value, np.nan)
    value = np.where(of_velocity, less, value)
    return value, np.where(gradual & (young > 0), RECENT, kind).astype(object)


def condition_status(evidence: Evidence) -> npt.NDArray[np.object_]:
    """What the condition data of each bearing could say, in one word: the fall or fault of any of its points, and
    what a change of its machine's operation, a neighbour or standstill may explain, are named also where others are
    sound."""
    worst = np.full(len(evidence.row), "not_testable", dtype=object)
    worst[evidence.says("stale").any(axis=1)] = "stale"
    worst[evidence.says("assessed").any(axis=1)] = "ok"
    lost = lubrication_lost(evidence)
    worst[lost & (worst == "ok")] = "stale"
    points = evidence.deviations
    which, told = points["which"].to_numpy(dtype=np.int64), points["status"].to_numpy(dtype=object)
    fallen = (told == "assessed") & (points["reason"] == STATE_UNCLEAR).to_numpy()
    worst[which[(told == "not_testable") & points["reason"].isin(_DOUBTED).to_numpy()]] = "not_testable"
    worst[which[fallen]] = STATE_UNCLEAR
    worst[which[told == "faulty"]] = "faulty"
    return worst


def lubrication_sound(evidence: Evidence) -> BoolArray:
    """Where a lubrication-sensitive signal was assessed, or a neighbour explains all that it rose."""
    return np.asarray(evidence.says("assessed")[:, _SENSITIVE].any(axis=1) | heard_beside(evidence))


def heard_beside(evidence: Evidence) -> BoolArray:
    """Where a neighbour explains all that a lubrication-sensitive signal rose."""
    return np.asarray((evidence.reason[:, _SENSITIVE] == HEARD_BESIDE).any(axis=1))


def baseline_unsettled(evidence: Evidence) -> BoolArray:
    """Where a lubrication-sensitive signal rose against a level that rests on few nights, or rose while learned."""
    return np.asarray((evidence.reason[:, _SENSITIVE] == REFERENCE_UNSETTLED).any(axis=1))


def lubrication_lost(evidence: Evidence) -> BoolArray:
    """Where there are lubrication-sensitive points and every one of them is stale or faulty."""
    lost, other = (evidence.says(*words)[:, _SENSITIVE].any(axis=1) for words in
                   (("stale", "faulty"), ("assessed", "not_testable")))  # fmt: skip
    return np.asarray(lost & ~other)


def _own(nights: Nights, deviations: pd.DataFrame) -> pd.DataFrame:
    """Deviations of these rows and of evidence quantities, ordered by row and point, with the positions of row and
    level source."""
    which = nights.find(deviations["bearing_id"], deviations["night"])
    quantity, names = pd.factorize(deviations["quantity"])
    level = np.array([*(POSITION.get(LEVEL_OF.get(name, ""), -1) for name in names), -1], dtype=np.int64)[quantity]
    keep = (which >= 0) & (level >= 0)
    point = pd.factorize(deviations["point_id"], sort=True)[0]
    at = np.flatnonzero(keep)
    at = at[np.lexsort((point[at], which[at]))]
    kept = deviations.take(at).reset_index(drop=True)
    return kept.assign(which=which[at], level=level[at], level_time=times(kept["level_time"]))


def _strength(counted: FloatArray, level: IntArray, sound: BoolArray, policy: Policy) -> FloatArray:
    """Highest bits of each row against any state; -inf where it is not sound."""
    bits = kernel.strongest_all(level, counted, tables(policy))
    return np.asarray(np.where(sound, np.nan_to_num(bits), -np.inf))


def _firsts(key: IntArray) -> BoolArray:
    """True at the first row of each run of equal keys."""
    return np.asarray(np.r_[True, key[1:] != key[:-1]][: len(key)])


def _best(which: IntArray, score: FloatArray, wanted: BoolArray) -> IntArray:
    """Row with the highest score per bearing among the wanted; the first of equals, in order of point."""
    rows = np.flatnonzero(wanted)
    order = rows[np.lexsort((rows, -score[rows], which[rows]))]
    return np.asarray(order[_firsts(which[order])])


def acceleration_alone(values: FloatArray) -> BoolArray:
    """Where acceleration is up and ultrasound is not, or says nothing: high-frequency vibration alone cannot tell
    dryness from the beginning of damage."""
    acceleration, ultrasound = values[:, POSITION["acceleration"]], values[:, POSITION["ultrasound"]]
    return np.asarray((acceleration >= QUIET_DB) & ~(ultrasound >= QUIET_DB))


def electrical(bearings: pd.DataFrame, values: FloatArray, policy: Policy) -> BoolArray:
    """High-frequency acceleration well up without ultrasound, on an inverter drive with an unprotected shaft."""
    acceleration, ultrasound = values[:, POSITION["acceleration"]], values[:, POSITION["ultrasound"]]
    exposed = bearings["drive"].to_numpy(dtype=object) == "inverter"
    return np.asarray(exposed & (acceleration >= policy.guard.early_rise.over_db) & (ultrasound < QUIET_DB))
