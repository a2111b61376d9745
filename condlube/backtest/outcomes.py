"""What became of the calls: one row for every failure, inspect or grease matter, greasing and extended interval.

A failure is *early* when a matter stood that began at least ``lead_min_d`` and touched the last ``lead_max_d`` days
before it; *late* when one began only in the last ``lead_min_d`` days; *missed* otherwise. A lubrication-related failure
is warned of by grease or inspect, any other by inspect alone. What the record cannot tell is *open*: the follow-up ends
too soon, or somebody worked on the bearing without saying what was found.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from condlube.assessment.sources import FloatArray, IntArray
from condlube.backtest.matters import GREASE, HOLD, INSPECT, SURVEY, Grid, Matters, matters_of
from condlube.backtest.record import Record

COLUMNS = ("what", "bearing_id", "first", "last", "outcome", "lead_d", "censored", "lubrication", "detail")


@dataclass(frozen=True)
class Windows:
    """Days within which calls and events belong together (engineering judgement).

    ``lead_min_d`` is the least that leaves time to act, ``lead_max_d`` the longest P-F interval that a call may claim;
    ``gap_d`` joins calls to one matter; ``act_d`` is how soon work answers a matter; ``hold_d`` how long a greasing
    must keep the level down.
    """

    lead_min_d: int = 2
    lead_max_d: int = 60
    gap_d: int = 7
    act_d: int = 30


def outcomes(grid: Grid, calls: IntArray, x: FloatArray, record: Record, windows: Windows) -> pd.DataFrame:
    """Outcome rows, columns ``COLUMNS``.

    Parameters
    ----------
    calls
        On the grid, of ``matters.calls_of``.
    x
        Share of the interval used up, on the grid.
    """
    inspect = matters_of(grid, calls == INSPECT, windows.gap_d)
    grease = matters_of(grid, calls == GREASE, windows.gap_d)
    either = matters_of(grid, (calls == INSPECT) | (calls == GREASE), windows.gap_d)
    past = matters_of(grid, (calls == HOLD) & (x > 1.0), windows.gap_d)
    rows = [
        *_failures(grid, either, inspect, record, windows),
        *_inspects(inspect, record, windows),
        *_surveys(matters_of(grid, calls == SURVEY, windows.gap_d)),
        *_greases(grid, grease, x, record, windows),
        *_greasings(grid, calls, record),
        *_extensions(past, record, windows),
    ]
    made = pd.DataFrame(rows, columns=list(COLUMNS)).astype({"lead_d": float, "censored": bool})
    made["bearing_id"] = np.array(grid.bearing_ids, dtype=object)[made["bearing_id"].to_numpy(dtype=np.int64)]
    return made


class _By:
    """Rows of a frame by bearing."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._frame = frame
        self._days = frame["day"].to_numpy(dtype=np.int64)
        which = frame["which"].to_numpy(dtype=np.int64)
        count = int(which.max()) + 2 if len(which) else 1
        self._start = np.searchsorted(which, np.arange(count))

    def between(self, which: int, first: int, last: int) -> np.ndarray:
        """Rows of one bearing from day ``first`` to day ``last``."""
        if which + 1 >= len(self._start):
            return np.empty(0, dtype=np.int64)
        lo, hi = self._start[which], self._start[which + 1]
        inside = np.arange(lo, hi)
        return np.asarray(inside[(self._days[lo:hi] >= first) & (self._days[lo:hi] <= last)])


def _failures(grid: Grid, either: Matters, inspect: Matters, record: Record, w: Windows):  # type: ignore[no-untyped-def]
    warned = {name: _by_bearing(m, len(grid.bearing_ids)) for name, m in (("any", either), ("inspect", inspect))}
    for which, day, _, lubrication in record.failures.itertuples(index=False):
        told = None if pd.isna(lubrication) else bool(lubrication)
        if not record.first + w.lead_min_d <= day <= record.last + 1:
            yield "failure", which, day, day, "open", np.nan, False, told, "outside the nights replayed"
            continue
        begun, ended = warned["inspect" if told is False else "any"][which]
        touching = (begun < day) & (ended >= day - w.lead_max_d)
        if not touching.any():
            short = record.first > day - w.lead_max_d
            detail = "the replay begins within the lead time" if short else ""
            yield "failure", which, day, day, "missed", 0.0, False, told, detail
            continue
        in_time = touching & (begun <= day - w.lead_min_d)
        first = begun[in_time].max() if in_time.any() else begun[touching].min()
        cut = first <= record.first or day - first > w.lead_max_d
        lead = float(min(day - first, w.lead_max_d))
        outcome = "early" if in_time.any() else "late"
        yield "failure", which, day, day, outcome, lead, cut, told, "stood before the lead time" if cut else ""


def _by_bearing(matters: Matters, count: int) -> list[tuple[IntArray, IntArray]]:
    bounds = np.searchsorted(matters.which, np.arange(count + 1))
    return [(matters.first[a:b], matters.last[a:b]) for a, b in pairwise(bounds)]


def _inspects(matters: Matters, record: Record, w: Windows):  # type: ignore[no-untyped-def]
    failures, looks, replaced = _By(record.failures), _By(record.inspections), _By(record.replacements)
    finding = record.inspections["finding"].to_numpy(dtype=object)
    for which, first, last in zip(*(a.tolist() for a in matters), strict=True):
        seen = looks.between(which, first, last + w.act_d)
        found = [finding[k] for k in seen if finding[k]]
        if len(failures.between(which, first, last + w.lead_max_d)):
            outcome, detail = "true", "failed"
        elif found:
            outcome, detail = "true", f"found {found[0]}"
        elif len(seen):
            outcome, detail = "false", "looked at, nothing found"
        elif len(replaced.between(which, first, last + w.lead_max_d)):
            outcome, detail = "open", "replaced without a finding"
        elif last + w.lead_max_d > record.last:
            outcome, detail = "open", "the follow-up ends too soon"
        else:
            outcome, detail = "false", "nobody looked, nothing came of it"
        yield "inspect", which, first, last, outcome, np.nan, False, None, detail


def _surveys(matters: Matters):  # type: ignore[no-untyped-def]
    for which, first, last in zip(*(a.tolist() for a in matters), strict=True):
        yield "survey", which, first, last, "asked", np.nan, False, None, "asked by records or time"


def _greases(grid: Grid, matters: Matters, x: FloatArray, record: Record, w: Windows):  # type: ignore[no-untyped-def]
    failures, given, replaced = _By(record.failures), _By(record.greasings), _By(record.replacements)
    answer = record.greasings["answer"].to_numpy(dtype=object)
    dry = record.failures["lubrication"].eq(True).to_numpy(dtype=np.bool_)
    column = np.searchsorted(grid.day, matters.first)
    for which, first, last, at in zip(*(a.tolist() for a in matters), column.tolist(), strict=True):
        broke = failures.between(which, first, last + w.lead_max_d)
        greased = given.between(which, first, last + w.act_d)
        answers = [answer[k] for k in greased if answer[k] != "unknown"]
        if dry[broke].any():
            outcome, detail = "true", "failed for want of grease"
        elif answers:
            outcome, detail = ("true" if answers[0] in ("held", "returned") else "no_effect"), answers[0]
        elif x[which, at] >= 1.0:
            outcome, detail = "due", "the interval was used up"
        elif len(greased):
            outcome, detail = "open", "greased, no answer to read"
        elif len(replaced.between(which, first, last + w.lead_max_d)):
            outcome, detail = "open", "replaced"
        elif last + w.lead_max_d > record.last:
            outcome, detail = "open", "the follow-up ends too soon"
        else:
            outcome, detail = "false", "nobody greased, nothing came of it"
        yield "grease", which, first, last, outcome, np.nan, False, None, detail


def _greasings(grid: Grid, calls: IntArray, record: Record):  # type: ignore[no-untyped-def]
    """Greasings on record: needed when a raised level fell, needless when it had not been raised."""
    said = dict(zip((GREASE, HOLD, INSPECT, SURVEY), ("grease", "hold", "inspect", "survey"), strict=True))
    for row in record.greasings.itertuples(index=False):
        at = np.searchsorted(grid.day, row.day) - 1
        if at < 0 or row.day > record.last + 1:
            continue
        if row.answer in ("held", "returned"):
            outcome = "needed"
        elif row.answer in ("none", "worse"):
            outcome = "no_effect"
        else:
            outcome = "needless" if row.quiet else "open"
        detail = said.get(int(calls[row.which, at]), "nothing") + " was called"
        yield "greasing", row.which, row.day, row.day, outcome, np.nan, False, None, detail


def _extensions(matters: Matters, record: Record, w: Windows):  # type: ignore[no-untyped-def]
    """Holds beyond the interval: right when the level was still quiet at the greasing that ended them."""
    failures, given = _By(record.failures), _By(record.greasings)
    dry = record.failures["lubrication"].eq(True).to_numpy(dtype=np.bool_)
    quiet = record.greasings["quiet"].to_numpy(dtype=np.bool_)
    for which, first, last in zip(*(a.tolist() for a in matters), strict=True):
        greased = given.between(which, first + 1, last + w.act_d)
        if dry[failures.between(which, first, last + w.lead_max_d)].any():
            outcome, detail = "wrong", "failed for want of grease"
        elif len(greased) and quiet[greased[0]]:
            outcome, detail = "right", "still quiet when it was greased"
        else:
            outcome, detail = "open", "not known how it stood when it ended"
        yield "extension", which, first, last, outcome, float(last - first + 1), False, None, detail
