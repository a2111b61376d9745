"""Frozen references of all points, newest last: which serves each point, and which is the parent of the next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from condlube.detection.begins import Begin, changed, replaced
from condlube.detection.creep import creeps
from condlube.detection.frozen import EXTENDED, Frozen, blank, margins_of, stack
from condlube.detection.lineage import Family, against_family, against_parent, families_of, family_of
from condlube.detection.series import Cells
from condlube.manipulation.fit import fit_references
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.model import Policy


class Adopted(NamedTuple):
    """A reference that was just frozen: its row of the models, its parent's (-1: none), and what lineage made of it."""

    row: int
    parent: int
    taken_off: float
    family_weight: float


class Learned:
    """References are rows of ``models``; row r was learned on days ``first[r]`` to ``last[r]``.

    ``serving`` and ``parent`` are a row for each point, -1 without one.
    """

    def __init__(self, cells: Cells, frozen: Frozen, begins: list[list[Begin]], policy: Policy) -> None:
        points = cells.points
        self.policy, self.changes = policy.reference, [[b for b in own if b.change] for own in begins]
        self.usual, self.raised = policy.detection.steady_spread, policy.detection.raised_spreads
        self.quantity = points["quantity"].to_list()
        self.family = families_of(points)
        self.margins = margins_of(self.quantity, policy)
        self.models = stack([frozen.models, blank(max(64, len(points)))])
        self.first, self.last = frozen.first.tolist(), frozen.last.tolist()
        self.began: list[str] = frozen.rows["began"].to_list()
        self.serving = np.full(len(points), -1)
        self.parent = np.full(len(points), -1)
        self.covering: list[list[int]] = [[] for _ in range(len(points))]  # serves, with what it extends
        self.members: dict[str, dict[int, int]] = {}
        rows = np.arange(len(frozen.point))
        number = rows - np.searchsorted(frozen.point, frozen.point)
        for k in range(int(number.max(initial=-1)) + 1):  # the k-th reference of every point at once
            of = rows[number == k]
            self._adopt(frozen.point[of], of, self._against_parent(frozen.point[of], of)[1])

    def forget(self, p: int) -> None:
        """Another bearing or sensor: nothing serves it yet."""
        self.serving[p] = self.parent[p] = -1
        self.covering[p] = []

    def freeze(
        self, points: Sequence[int], chosen: Sequence[Ints], pending: Sequence[int], began: Sequence[str], day: int,
        cells: Cells,
    ) -> list[Adopted]:  # fmt: skip
        """Fit, compare and adopt a reference for each of the points, learned from ``chosen`` cells up to ``day``."""
        of = np.array(points, dtype=np.int64)
        rows = len(self.first) + np.arange(len(of))
        self._fit(of, rows, chosen, cells)
        crept_by = self._creep(of, rows, chosen, cells)
        self.first += pending
        self.last += [day] * len(of)
        self.began += began
        for p, r in zip(points, rows.tolist(), strict=True):
            if self.family[p]:
                self.members.setdefault(self.family[p], {})[p] = r
        families = {name: self._family(name, day) for name in sorted({self.family[p] for p in points} - {""})}
        made = []
        for k, (p, r) in enumerate(zip(points, rows.tolist(), strict=True)):
            floor = self.policy.spread_floor.of(self.quantity[p])
            crept = float(crept_by[k])
            off, weight, spread = against_family(self.models, r, families.get(self.family[p]), floor, self.policy)
            self.models.coefficients[r, 0] -= off
            made.append(Adopted(r, int(self.parent[p]), crept + off, weight))
            self.models.spread[r] = spread
        more, lower = self._against_parent(of, rows)
        self.models.coefficients[rows, 0] -= more
        self._adopt(of, rows, lower)
        return [a._replace(taken_off=a.taken_off + off) for a, off in zip(made, more.tolist(), strict=True)]

    def _fit(self, of: Ints, rows: Ints, chosen: Sequence[Ints], cells: Cells) -> None:
        taken = np.concatenate(chosen)
        start = np.concatenate([[0], np.cumsum([len(c) for c in chosen])]).astype(np.int64)
        effects = (self.policy.speed_effect, self.policy.load_effect, self.policy.ambient_effect)
        prior = np.array([[effect.of(self.quantity[p]) for effect in effects] for p in of])
        floor = np.array([self.policy.spread_floor.of(self.quantity[p]) for p in of])
        fitted = fit_references(
            start, cells.level[taken], cells.operating[taken], cells.weight[taken], cells.day[taken], prior[:, :, 0],
            prior[:, :, 1], floor,
        )  # fmt: skip
        if rows[-1] >= len(self.models.spread):
            self.models = stack([self.models, blank(len(self.models.spread) + len(rows))])
        for stored, new in zip(self.models, fitted, strict=True):
            stored[rows] = new

    def _creep(self, of: Ints, rows: Ints, chosen: Sequence[Ints], cells: Cells) -> Floats:
        """Bring down references whose level rose while they were learned; temperatures have their seasons. Returns what
        was taken off."""
        seasonal = np.array([self.quantity[p] == "temperature" for p in of])
        start = np.concatenate([[0], np.cumsum([len(c) for c in chosen])]).astype(np.int64)
        least = (self.policy.spread_floor, self.usual)
        floor, usual = (np.array([each.of(self.quantity[p]) for p in of]) for each in least)
        crept, spread = creeps(
            self.models, rows, start, np.concatenate(chosen), cells, self.margins[of], floor, self.raised * usual
        )
        crept = np.where(seasonal, 0.0, crept)
        spread = np.where(seasonal, self.models.spread[rows], spread)
        self.models.covariance[rows] *= (spread / self.models.spread[rows])[:, None, None] ** 2
        self.models.coefficients[rows, 0] -= crept
        self.models.spread[rows] = spread
        return crept

    def _against_parent(self, of: Ints, rows: Ints) -> tuple[np.ndarray, Bools]:
        more, lower = np.zeros(len(of)), np.zeros(len(of), dtype=bool)
        held = np.flatnonzero(self.parent[of] >= 0)
        more[held], lower[held] = against_parent(
            self.models, rows[held], self.parent[of[held]], self.margins[of[held]],
            np.array([self.began[r] == EXTENDED for r in rows[held]], dtype=bool), self.policy,
        )  # fmt: skip
        return more, lower

    def _adopt(self, of: Ints, rows: Ints, lower: Bools) -> None:
        """Let frozen references serve, and be parents of later ones where they sit lower or nothing stood before."""
        for p, r, sits_lower in zip(of.tolist(), rows.tolist(), lower.tolist(), strict=True):
            served = int(self.serving[p])
            new = served >= 0 and replaced(self.changes[p], self.first[served], self.first[r])
            if self.parent[p] < 0 or new or sits_lower:
                self.parent[p] = r
            self.serving[p] = r
            self.covering[p] = [*(self.covering[p] if self.began[r] == EXTENDED else []), r]
            if self.family[p]:
                self.members.setdefault(self.family[p], {})[p] = r

    def _family(self, name: str, day: int) -> Family:
        members = sorted(self.members[name].items())
        rows = [r for p, r in members if not self.changes[p] or not changed(self.changes[p], self.first[r], day)]
        floor = self.policy.family_floor.of(name.partition(" ")[0])
        return family_of(self.models.coefficients[rows, 0], self.models.spread[rows], floor)
