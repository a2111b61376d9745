"""Life of a reference: open, collecting, frozen, ended; long because one walk carries it from state to state.

Never edited, never learned from a deviating night.

A first reference is frozen provisionally after a few nights, so that a new point is not blind for long, and followed
by a full one. A greasing begins a new period while the earlier reference goes on serving; another bearing or sensor
ends it. Every new reference is held against its family and its parent (``lineage``).
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
    changed,
    local_day,
    local_days,
    outside_settling,
    replaced,
)
from condlube.detection.expected_rows import ExpectedRows
from condlube.detection.frozen import Frozen, blank, frozen_of, margins_of, model_columns, stack
from condlube.detection.lineage import Family, against_family, against_parent, families_of, family_of
from condlube.detection.plan import plan
from condlube.detection.series import cells_of
from condlube.manipulation.expected import Models
from condlube.manipulation.fit import fit_references
from condlube.manipulation.kernel import Ints
from condlube.policy.model import Policy

_FOREVER = 100_000


@dataclass
class _Point:
    """Where the walk stands with one point; references are rows of the walk's models."""

    begins: list[Begin]
    serving: int = -1
    parent: int = -1
    pending: int | None = None  # first day of the period that collects
    began: str = ""
    end: int = 0  # the period ends before this day, if not frozen before
    cells: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))


def advance(
    summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame, points: pd.DataFrame,
    bearings: pd.DataFrame, as_of: datetime, zone: ZoneInfo, policy: Policy,
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

    Returns
    -------
    New rows, one for each reference period and state that it reached.
    """
    walk = _Walk(summaries, expected, events, points, bearings, as_of, zone, policy)
    return walk.run()


def lookback(expected: pd.DataFrame, as_of: datetime, zone: ZoneInfo, policy: Policy) -> date | None:
    """First date whose summaries ``advance`` and ``deviations`` need for one more night; None: from the first."""
    tonight = pd.Timestamp(as_of).tz_convert(zone).date()
    window = tonight - timedelta(days=policy.detection.window_days + 1)
    if expected.empty:
        return None
    done = expected[expected["reference_state"].isin(["frozen", "ended"])]
    keys = ["point_id", "reference_from"]
    still = expected.merge(done[keys].drop_duplicates(), on=keys, how="left", indicator=True)
    begun = still.loc[still["_merge"] == "left_only", "reference_from"]
    first: date = min([window, *(pd.Timestamp(t).tz_convert(zone).date() for t in begun)])
    return first


class _Walk:
    def __init__(
        self, summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame, points: pd.DataFrame,
        bearings: pd.DataFrame, as_of: datetime, zone: ZoneInfo, policy: Policy,
    ) -> None:  # fmt: skip
        self.policy, self.zone = policy, zone
        self.last_day = local_day(pd.Timestamp(as_of), zone) - 1
        self.cells = cells_of(summaries, points, bearings, self.last_day, policy)
        self.signal = self.cells.points
        self.ids = self.signal["point_id"].to_list()
        self.quantity = self.signal["quantity"].to_list()
        self.family = families_of(self.signal)
        self.margins = margins_of(self.quantity, policy)
        self.known = expected
        frozen = frozen_of(expected, self.ids, zone)
        self.models: Models = stack([frozen.models, blank(max(64, len(self.ids)))])
        self.count = len(frozen.point)
        self.first = list(frozen.first)
        self.last = list(frozen.last)
        self.from_ = [pd.Timestamp(t) for t in frozen.rows["reference_from"]]
        self.began = frozen.rows["began"].to_list()
        begins = begins_of(self.signal, events, policy.reference.settling_days, zone)
        self.points = [_Point(b) for b in begins]
        self.learnable = outside_settling(self.cells.start, self.cells.day, begins) & self.cells.sound
        self.members: dict[str, dict[int, int]] = {}
        self.out = ExpectedRows(self.ids, expected, zone)
        self._resume(frozen)

    def _resume(self, frozen: Frozen) -> None:
        for r, p in enumerate(frozen.point):
            self._adopt(int(p), r)
        open_ = self.known[self.known["reference_state"].isin(["open", "collecting"])]
        position = pd.Index(self.ids).get_indexer(pd.Index(open_["point_id"]))
        days = local_days(open_["reference_from"], self.zone).tolist()
        columns = (open_[c] for c in ("reference_from", "began", "point_id"))
        for p, day, from_, began, point_id in zip(position, days, *columns, strict=True):
            if p < 0 or self.out.over(point_id, from_):
                continue
            point = self.points[p]
            if point.pending is None or day > point.pending:
                point.pending, point.began = day, began
        for point in self.points:
            pending = point.pending
            if point.serving >= 0 and pending and replaced(point.begins, self.first[point.serving], pending):
                point.serving = point.parent = -1

    def run(self) -> pd.DataFrame:
        ready: list[tuple[int, int]] = []
        self._look_ahead([p for p in range(len(self.ids)) if self._first_task(p)], ready)
        while ready:
            day, p = heapq.heappop(ready)
            group = [p]
            while ready and ready[0][0] == day:
                group.append(heapq.heappop(ready)[1])
            self._freeze(group, day)
            self._look_ahead([p for p in group if self._after_freezing(p, day)], ready)
        return self.out.table()

    # what comes next for a point

    def _first_task(self, p: int) -> bool:
        """Bring the point to the period that it collects in; False if there is none."""
        point = self.points[p]
        if point.pending is not None:
            return self._set_end(p)
        if point.serving >= 0:
            return self._after_freezing(p, self.last[point.serving])
        lo, hi = self.cells.start[p], self.cells.start[p + 1]
        sound = np.flatnonzero(self.cells.sound[lo:hi])
        if not len(sound):
            return False
        return self._begin(p, int(self.cells.day[lo + sound[0]]), "first", None)

    def _after_freezing(self, p: int, day: int) -> bool:
        point = self.points[p]
        if self.began[point.serving] == "first":
            return self._begin(p, day + 1, "completed", None)
        point.pending = None
        since = self.first[point.serving]
        event = next((b for b in point.begins if b.day > day or (b.change and b.day > since)), None)
        return self._restart(p, event) if event is not None and event.day <= self.last_day else False

    def _restart(self, p: int, event: Begin) -> bool:
        point = self.points[p]
        if event.change:
            if point.serving >= 0:
                self.out.end(p, self.from_[point.serving], event.kind, event.day, event.known_at)
            point.serving = point.parent = -1
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
        return next((b for b in later if b.change or point.serving >= 0), None)

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
                elif point.serving >= 0 and given_up < self.last_day:
                    self.out.end(p, self.out.instant(pending), "abandoned", given_up, None)
            group = again

    def _plan(self, group: list[int]) -> tuple[Ints, Ints, Ints]:
        reference = self.policy.reference
        route = self.signal["route"].to_numpy()[group]
        serving = np.array([self.points[p].serving for p in group], dtype=np.int64)
        first = serving < 0
        fewest = np.where(route, reference.route_min_readings, reference.min_nights)
        full = np.where(route, reference.route_full_readings, reference.full_nights)
        index = np.array(group, dtype=np.int64)
        models = self.models
        return plan(
            self.cells.start[index], self.cells.start[index + 1],
            np.array([self.points[p].pending for p in group], dtype=np.int64),
            np.array([self.points[p].end for p in group], dtype=np.int64),
            np.where(first, fewest, full),
            np.where(route, _FOREVER, reference.max_days), fewest,
            np.where(first | route, 0, reference.range_nights),
            np.where(first | route, _FOREVER, reference.abandon_days),
            serving, self.cells.day, self.learnable, self.cells.level, self.cells.operating, self.cells.weight,
            models.coefficients, models.covariance, models.knots, models.low, models.high, models.spread,
            self.margins[index], reference.gate_spreads,
        )  # fmt: skip

    # freezing

    def _freeze(self, group: list[int], day: int) -> None:
        group = sorted(group)
        chosen = np.concatenate([self.points[p].cells for p in group])
        start = np.concatenate([[0], np.cumsum([len(self.points[p].cells) for p in group])]).astype(np.int64)
        reference = self.policy.reference
        effects = (reference.speed_effect, reference.load_effect, reference.ambient_effect)
        prior = np.array([[effect.of(self.quantity[p]) for effect in effects] for p in group])
        floor = np.array([reference.spread_floor.of(self.quantity[p]) for p in group])
        fitted = Models(*fit_references(
            start, self.cells.level[chosen], self.cells.operating[chosen], self.cells.weight[chosen],
            self.cells.day[chosen], np.ascontiguousarray(prior[:, :, 0]), np.ascontiguousarray(prior[:, :, 1]), floor,
        ))  # fmt: skip
        self._room(len(group))
        first = self.count
        for stored, new in zip(self.models, fitted, strict=True):
            stored[first : first + len(group)] = new
        self.count += len(group)
        for k, p in enumerate(group):
            if self.family[p]:
                self.members.setdefault(self.family[p], {})[p] = first + k
        families = {name: self._family(name, day) for name in {self.family[p] for p in group} if name}
        for k, p in enumerate(group):
            point = self.points[p]
            known_at = int(self.cells.known_at[point.cells].max())
            off, weight, spread = against_family(
                self.models, first + k, families.get(self.family[p]), floor[k], reference
            )
            self._finish(p, first + k, day, known_at, off, weight, spread)

    def _finish(self, p: int, r: int, day: int, known_at: int, off: float, weight: float, spread: float) -> None:
        point = self.points[p]
        assert point.pending is not None
        from_ = self.out.instant(point.pending)
        self.first.append(point.pending)
        self.last.append(day)
        self.from_.append(from_)
        self.began.append(point.began)
        self.models.coefficients[r, 0] -= off
        parent = ""
        if point.parent >= 0:
            parent = self.from_[point.parent].isoformat()
            more, _ = against_parent(self.models, r, point.parent, self.margins[p], self.policy.reference)
            self.models.coefficients[r, 0] -= more
            off += more
        self.models.spread[r] = spread
        if point.serving >= 0:
            self.out.end(p, self.from_[point.serving], "superseded", day, pd.Timestamp(known_at, unit="us", tz="UTC"))
        self._adopt(p, r)
        self.out.emit(
            p, from_, "frozen", day, pd.Timestamp(known_at, unit="us", tz="UTC"), began=point.began,
            reference_until=self.out.instant(day + 1), family=self.family[p], family_weight=weight, parent=parent,
            taken_off=off, **model_columns(self.models, r),
        )  # fmt: skip

    def _begun(self, p: int, r: int) -> int:
        """First day of a reference, also of one that is being frozen."""
        return self.first[r] if r < len(self.first) else self.points[p].pending or 0

    def _adopt(self, p: int, r: int) -> None:
        """Let a frozen reference serve, and be the parent of later ones if it sits clearly lower than the parent."""
        point = self.points[p]
        if point.serving >= 0 and replaced(point.begins, self.first[point.serving], self.first[r]):
            point.parent = -1
        if point.parent < 0 or against_parent(self.models, r, point.parent, self.margins[p], self.policy.reference)[1]:
            point.parent = r
        point.serving = r
        if self.family[p]:
            self.members.setdefault(self.family[p], {})[p] = r

    def _family(self, name: str, day: int) -> Family:
        members = sorted(self.members[name].items())
        rows = [r for p, r in members if not changed(self.points[p].begins, self._begun(p, r), day)]
        quantity = name.partition(" ")[0]
        floor = self.policy.reference.family_floor.of(quantity)
        return family_of(self.models.coefficients[rows, 0], self.models.spread[rows], floor)

    def _room(self, more: int) -> None:
        if self.count + more > len(self.models.spread):
            self.models = stack([self.models, blank(len(self.models.spread) + more)])
