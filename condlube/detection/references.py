"""Life of a reference: open, collecting, frozen, ended; one walk carries it from state to state.

Never edited, never learned from a deviating night.

A first reference is frozen provisionally after a few nights, so that a new point is not blind for long, and followed
by a full one. A greasing begins a new period while the earlier reference goes on serving; another bearing or sensor
ends it.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.detection.begins import (
    Begin,
    begins_of,
    local_day,
    local_days,
    outside_settling,
    replaced,
)
from condlube.detection.expected_rows import ExpectedRows
from condlube.detection.extension import extensions
from condlube.detection.frozen import EXTENDED, frozen_of, model_columns
from condlube.detection.lasting import LOOKED, STANDING
from condlube.detection.learned import Learned
from condlube.detection.plan import Periods, plan
from condlube.detection.series import Cells, cells_of
from condlube.detection.standing import standing
from condlube.manipulation.kernel import Ints
from condlube.policy.model import Policy

_FOREVER = 100_000


@dataclass
class _Point:
    """Where the walk stands with one point."""

    begins: list[Begin]
    pending: int | None = None  # first day of the period that collects
    began: str = ""
    end: int = 0  # the period ends before this day, if not frozen before
    cells: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))


def advance(
    summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame, points: pd.DataFrame,
    bearings: pd.DataFrame, as_of: datetime, zone: ZoneInfo, policy: Policy, cells: Cells | None = None,
) -> pd.DataFrame:  # fmt: skip
    """New rows of the table ``expected`` that the nights up to ``as_of`` bring.

    Parameters
    ----------
    summaries
        Table ``summaries``; needed from the date that ``lookback`` tells.
    expected
        The rows known so far; may be empty. Walking a long history in one call gives the rows that a call each night
        would have given.
    events, points, bearings
        Tables of the schema; only events that are visible.
    as_of
        Midnight that ends the night; nothing later is used.
    cells
        ``cells_of`` the summaries up to the night, where the caller has them.

    Returns
    -------
    New rows, one for each reference period and state that it reached, and notes on rises that stand for long.
    """
    last_day = local_day(pd.Timestamp(as_of), zone) - 1
    cells = cells_of(summaries, points, bearings, last_day, policy) if cells is None else cells
    walk = _Walk(cells, expected, events, last_day, zone, policy)
    learned = walk.run()
    known = pd.concat([expected, learned], ignore_index=True) if len(expected) else learned
    notes = standing(cells, walk.begins, summaries, known, events, points, last_day, zone, policy)
    if not len(notes):
        return learned
    return pd.concat([learned, notes], ignore_index=True) if len(learned) else notes


def lookback(expected: pd.DataFrame, as_of: datetime, zone: ZoneInfo, policy: Policy) -> date | None:
    """First date whose summaries ``advance`` and ``deviations`` need for one more night; None: from the first."""
    tonight = pd.Timestamp(as_of).tz_convert(zone).date()
    window = tonight - timedelta(days=policy.detection.window_days + 1)
    if expected.empty:
        return None
    done = expected[expected["reference_state"].isin(["frozen", "ended", STANDING, LOOKED])]
    keys = ["point_id", "reference_from"]
    still = expected.merge(done[keys].drop_duplicates(), on=keys, how="left", indicator=True)
    begun = still.loc[still["_merge"] == "left_only", "reference_from"]
    first: date = min([window, *(pd.Timestamp(t).tz_convert(zone).date() for t in begun)])
    return first


class _Walk:
    def __init__(
        self, cells: Cells, expected: pd.DataFrame, events: pd.DataFrame, last_day: int, zone: ZoneInfo, policy: Policy
    ) -> None:
        self.cells, self.last_day, self.zone, self.policy = cells, last_day, zone, policy
        self.signal = self.cells.points
        self.ids = self.signal["point_id"].to_list()
        self.route = self.signal["route"].to_numpy()
        self.known = expected
        frozen = frozen_of(expected, self.ids, zone)
        self.from_ = [pd.Timestamp(t) for t in frozen.rows["reference_from"]]
        self.begins = begins_of(self.signal, events, policy.reference.settling_days, zone)
        self.learned = Learned(self.cells, frozen, self.begins, policy)
        self.points = [_Point(b) for b in self.begins]
        self.learnable = outside_settling(self.cells.start, self.cells.day, self.begins) & self.cells.sound
        self.out = ExpectedRows(self.ids, expected, zone)
        self._resume()

    def _resume(self) -> None:
        state = self.known["reference_state"]
        period = pd.MultiIndex.from_frame(self.known[["point_id", "reference_from"]])
        over = period.isin(period[state.isin(["frozen", "ended"])])
        open_ = self.known[state.isin(["open", "collecting"]).to_numpy() & ~over]
        position = pd.Index(self.ids).get_indexer(pd.Index(open_["point_id"]))
        days = local_days(open_["reference_from"], self.zone).tolist()
        for p, day, began in zip(position, days, open_["began"], strict=True):
            if p < 0:
                continue
            point = self.points[p]
            if point.pending is None or day > point.pending:
                point.pending, point.began = day, began
        for p, point in enumerate(self.points):
            serving = self.serving(p)
            if serving >= 0 and point.pending and replaced(point.begins, self.learned.first[serving], point.pending):
                self.learned.forget(p)

    def serving(self, p: int) -> int:
        """The reference that serves a point, -1 without one."""
        return int(self.learned.serving[p])

    def run(self) -> pd.DataFrame:
        ready: list[tuple[int, int]] = []
        everyone = range(len(self.ids))
        idle = [p for p in everyone if self.points[p].pending is None and self.serving(p) >= 0]
        collecting = [p for p in everyone if self._first_task(p)]
        self._look_ahead(collecting + self._follow(idle, ready), ready)
        while ready:
            day, p = heapq.heappop(ready)
            group = [p]
            while ready and ready[0][0] == day:
                group.append(heapq.heappop(ready)[1])
            self._freeze(group, day)
            self._look_ahead(self._follow(group, ready), ready)
        return self.out.table()

    # what comes next for a point

    def _first_task(self, p: int) -> bool:
        """Bring the point to the period that it collects in; False if there is none."""
        point = self.points[p]
        if point.pending is not None:
            return self._set_end(p)
        if self.serving(p) >= 0:
            return False
        lo, hi = self.cells.start[p], self.cells.start[p + 1]
        sound = np.flatnonzero(self.cells.sound[lo:hi])
        if not len(sound):
            return False
        return self._begin(p, int(self.cells.day[lo + sound[0]]), "first", None)

    def _follow(self, group: list[int], ready: list[tuple[int, int]]) -> list[int]:
        """What comes after the references that serve these points; returns those that collect the next."""
        reference = self.policy.reference
        full = [p for p in group if self.learned.began[self.serving(p)] != "first" and not self.route[p]]
        wider = extensions(
            np.array(full, dtype=np.int64), [self.learned.covering[p] for p in full], self.learned, self.cells,
            self.learnable, reference.extend_nights, reference.extend_days,
        )  # fmt: skip
        return [p for p in group if self._after_freezing(p, wider.get(p), ready)]

    def _after_freezing(self, p: int, wider: Ints | None, ready: list[tuple[int, int]]) -> bool:
        point, serving = self.points[p], self.serving(p)
        day = self.learned.last[serving]
        if self.learned.began[serving] == "first":
            return self._begin(p, day + 1, "completed", None)
        point.pending = None
        since = self.learned.first[serving]
        event = next((b for b in point.begins if b.day > day or (b.change and b.day > since)), None)
        if wider is not None and (event is None or self.cells.day[wider[-1]] < event.day):
            point.pending, point.began, point.cells = int(self.cells.day[wider[0]]), EXTENDED, wider
            heapq.heappush(ready, (int(self.cells.day[wider[-1]]), p))
            return False
        return self._restart(p, event) if event is not None and event.day <= self.last_day else False

    def _restart(self, p: int, event: Begin) -> bool:
        if event.change:
            if self.serving(p) >= 0:
                self.out.end(p, self.from_[self.serving(p)], event.kind, event.day, event.known_at)
            self.learned.forget(p)
        return self._begin(p, event.settled, "first" if event.change else event.kind, event)

    def _begin(self, p: int, day: int, began: str, event: Begin | None) -> bool:
        point = self.points[p]
        point.pending, point.began = day, began
        from_ = self.out.instant(day)
        if event is not None and event.settled > event.day:
            self.out.emit(p, from_, "open", event.day, event.known_at, began=began)
        if day <= self.last_day:
            self.out.emit(p, from_, "collecting", day, None, began=began)
        return self._set_end(p)

    def _set_end(self, p: int) -> bool:
        """The next event that restarts the period; True if the period has begun by now or will be restarted."""
        event = self._next_event(p)
        point = self.points[p]
        assert point.pending is not None
        point.end = event.day if event else _FOREVER
        if point.pending <= self.last_day:
            self.out.emit(p, self.out.instant(point.pending), "collecting", point.pending, None, began=point.began)
        return point.pending <= self.last_day or point.end <= self.last_day

    def _next_event(self, p: int) -> Begin | None:
        point = self.points[p]
        assert point.pending is not None
        later = (b for b in point.begins if b.settled > point.pending)
        return next((b for b in later if b.change or self.serving(p) >= 0), None)

    def _look_ahead(self, group: list[int], ready: list[tuple[int, int]]) -> None:
        """Plan the points' periods; a period that is cut short by an event gives way to the next."""
        while group:
            done, chosen, offset = self._plan(group)
            again = []
            for k, p in enumerate(group):
                point = self.points[p]
                if done[k] >= 0:
                    point.cells = chosen[offset[k] : offset[k + 1]]
                    heapq.heappush(ready, (int(done[k]), p))
                    continue
                event, pending = self._next_event(p), point.pending
                assert pending is not None
                given_up = pending + self.policy.reference.abandon_days
                if event is not None and event.day <= self.last_day:
                    self.out.end(p, self.out.instant(pending), event.kind, event.day, event.known_at)
                    if self._restart(p, event):
                        again.append(p)
                elif self.serving(p) >= 0 and given_up < self.last_day:
                    self.out.end(p, self.out.instant(pending), "abandoned", given_up, None)
            group = again

    def _plan(self, group: list[int]) -> tuple[Ints, Ints, Ints]:
        reference = self.policy.reference
        index = np.array(group, dtype=np.int64)
        route = self.route[index]
        serving = self.learned.serving[index]
        first = serving < 0
        provisional = np.array([r >= 0 and self.learned.began[r] == "first" for r in serving], dtype=bool)
        fewest = np.where(route, reference.route_min_readings, reference.min_nights)
        periods = Periods(
            point=index,
            begin=np.array([self.points[p].pending for p in group], dtype=np.int64),
            end=np.array([self.points[p].end for p in group], dtype=np.int64),
            need=np.where(first, fewest, np.where(route, reference.route_full_readings, reference.full_nights)),
            most=np.where(route, _FOREVER, reference.max_days),
            fewest=fewest,
            beyond=np.where(first | route, _FOREVER, np.where(provisional, fewest, reference.extend_nights)),
            settle=np.where(first | route, 0, reference.range_nights),
            give_up=np.where(first | route, _FOREVER, reference.abandon_days),
            serving=serving,
        )
        learned = self.learned
        return plan(periods, self.cells, self.learnable, learned.models, learned.margins, reference.gate_spreads)

    def _freeze(self, group: list[int], day: int) -> None:
        group = sorted(group)
        points = [self.points[p] for p in group]
        pending = [point.pending for point in points if point.pending is not None]
        served = self.learned.serving.copy()
        chosen, began = [point.cells for point in points], [point.began for point in points]
        adopted = self.learned.freeze(group, chosen, pending, began, day, self.cells)
        for p, point, begin, new in zip(group, points, pending, adopted, strict=True):
            known_at = pd.Timestamp(int(self.cells.known_at[point.cells].max()), unit="us", tz="UTC")
            self.from_.append(self.out.instant(begin))
            if served[p] >= 0 and point.began != EXTENDED:
                self.out.end(p, self.from_[served[p]], "superseded", day, known_at)
            self.out.emit(
                p, self.from_[new.row], "frozen", day, known_at, began=point.began,
                reference_until=self.out.instant(day + 1), family=self.learned.family[p],
                family_weight=new.family_weight, taken_off=new.taken_off,
                parent=self.from_[new.parent].isoformat() if new.parent >= 0 else "",
                **model_columns(self.learned.models, new.row),
            )  # fmt: skip
