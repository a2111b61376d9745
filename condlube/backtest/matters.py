"""Calls on a grid of bearings and nights, and the matters in them: calls of one kind that last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.sources import FloatArray, IntArray
from condlube.schema.words import ACTIONS

GREASE, HOLD, INSPECT, SURVEY = range(len(ACTIONS) + 1)
NO_CALL = -1
ASKING = ("history_unknown", "outside_range", "grease_mismatch", "long_overdue")
"""Guards that ask for an inspection because of the records or of time, whatever the condition: no warning."""
Bools = npt.NDArray[np.bool_]
Value = TypeVar("Value", bound=np.generic)


@dataclass(frozen=True)
class Grid:
    """Replayed decisions, ``day`` of each night as days since 1970-01-01.

    ``row`` [bearings, nights] is the row of the decisions table, -1 where a bearing was not decided on a night.
    """

    bearing_ids: tuple[str, ...]
    day: IntArray
    row: IntArray

    @property
    def step_d(self) -> int:
        """Usual days from one replayed night to the next."""
        return max(int(np.median(np.diff(self.day))) if len(self.day) > 1 else 1, 1)

    @property
    def years(self) -> FloatArray:
        """Bearing-years replayed, per bearing: each decided night stands for the time up to the next one."""
        step = np.diff(self.day, append=self.day[-1] + (self.day[-1] - self.day[-2] if len(self.day) > 1 else 1))
        return np.asarray(((self.row >= 0) * step).sum(axis=1) / 365.25)

    def spread(self, column: npt.NDArray[Value], absent: float) -> npt.NDArray[Value]:
        """A column of the decisions on the grid [bearings, nights]."""
        padded = np.append(column, np.array([absent], dtype=column.dtype))
        return padded[self.row]


class Matters(NamedTuple):
    """Calls that last: positions of bearing, and first and last day of each matter; ordered by bearing and day."""

    which: IntArray
    first: IntArray
    last: IntArray


def grid_of(decisions: pd.DataFrame) -> Grid:
    """The grid of a table of replayed decisions."""
    which, ids = pd.factorize(decisions["bearing_id"], sort=True)
    night = pd.to_datetime(decisions["night"]).to_numpy().astype("datetime64[D]").astype(np.int64)
    day, column = np.unique(night, return_inverse=True)
    row = np.full((len(ids), len(day)), -1, dtype=np.int64)
    row[which, column] = np.arange(len(decisions))
    return Grid(tuple(str(name) for name in ids), day, row)


def calls_of(grid: Grid, calls: IntArray, by_cost: IntArray, guards: pd.Series) -> IntArray:
    """Calls [rows of the decisions] on the grid, positions in ``words.ACTIONS``; ``by_cost`` are those before guards.

    ``SURVEY`` where records or time ask for an inspection that the evidence does not, ``NO_CALL`` where a bearing was
    not decided.
    """
    which, texts = pd.factorize(guards.fillna(""))
    asking = np.array([any(code in text.split() for code in ASKING) for text in texts], dtype=np.bool_)[which]
    asked = (calls == INSPECT) & (by_cost != INSPECT) & asking
    return np.asarray(grid.spread(np.where(asked, SURVEY, calls), NO_CALL))


def positions_of(calls: pd.Series) -> IntArray:
    """Calls as positions in ``words.ACTIONS``, ``NO_CALL`` where there is none."""
    return np.asarray(pd.Index(ACTIONS).get_indexer(calls.astype(object)), dtype=np.int64)


def matters_of(grid: Grid, standing: Bools, gap_d: int) -> Matters:
    """Matters in ``standing`` [bearings, nights]; nights no further apart than ``gap_d`` belong to one matter."""
    which, night = np.nonzero(standing)
    day = grid.day[night]
    new = np.ones(len(which), dtype=np.bool_)
    new[1:] = (which[1:] != which[:-1]) | (day[1:] - day[:-1] > gap_d)
    begin = np.flatnonzero(new)
    end = np.append(begin[1:], len(which)) - 1 if len(begin) else begin
    return Matters(which[begin], day[begin], day[end])


def positions(grid: Grid, bearing_ids: Sequence[str]) -> IntArray:
    """Position of bearings on the grid, -1 where they were not replayed."""
    return np.asarray(pd.Index(grid.bearing_ids).get_indexer(list(bearing_ids)), dtype=np.int64)
