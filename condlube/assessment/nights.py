"""Bearing-nights that are assessed together: one night of many bearings, or many nights of each.

Every step works on rows, one a bearing and night, and what it makes of a row depends on nothing but that row: a night
alone and the same night among others give the same to the last digit. Events are looked at once for each *spell*: the
nights of one bearing between which nothing was recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.greasings import TimeArray, instant, told_of
from condlube.assessment.sources import IntArray
from condlube.schema.nights import as_of, night_of

Days = npt.NDArray[np.datetime64]


@dataclass(frozen=True)
class Nights:
    """Rows: ``bearings`` is the register's row of each, ``night`` its local date, ``end`` the instant that ends it.

    ``spell`` numbers the spells; ``told`` holds the events that each of them sees, by its number in ``which``.
    """

    bearings: pd.DataFrame
    night: Days
    end: TimeArray
    spell: IntArray
    told: pd.DataFrame

    def find(self, bearing_ids: pd.Series, nights: pd.Series) -> IntArray:
        """The row of each bearing and night, -1 where there is none; a single night is taken for granted."""
        days, column = np.unique(self.night, return_inverse=True)
        ids = self.bearings["bearing_id"]
        if len(days) <= 1:
            return np.asarray(pd.Index(ids).get_indexer(bearing_ids), dtype=np.int64)
        code, known = pd.factorize(ids)
        place = np.full((len(known) + 1, len(days) + 1), -1, dtype=np.int64)
        place[code, column] = np.arange(len(ids))
        asked = pd.to_datetime(nights).to_numpy().astype("datetime64[D]")
        at = np.searchsorted(days, asked)
        at[days[np.minimum(at, len(days) - 1)] != asked] = len(days)
        return np.asarray(place[pd.Index(known).get_indexer(bearing_ids), at])

    def take(self, rows: IntArray) -> Nights:
        """Some of the rows, with the events of their spells."""
        kept, spell = np.unique(self.spell[rows], return_inverse=True)
        told = self.told[np.isin(self.told["which"].to_numpy(), kept)]
        told = told.assign(which=np.searchsorted(kept, told["which"].to_numpy()))
        bearings = self.bearings.iloc[rows].reset_index(drop=True)
        return Nights(bearings, self.night[rows], self.end[rows], spell, told)

    @property
    def spells(self) -> IntArray:
        """The first row of each spell."""
        return np.unique(self.spell, return_index=True)[1]


def one_night(bearings: pd.DataFrame, events: pd.DataFrame, end: datetime, zone: ZoneInfo) -> Nights:
    """One night of every bearing; ``events`` are those that it sees."""
    n = len(bearings)
    night, instants = np.full(n, np.datetime64(night_of(end, zone), "D")), np.full(n, instant(end))
    return Nights(bearings, night, instants, np.arange(n), told_of(bearings, events))


def many_nights(bearings: pd.DataFrame, events: pd.DataFrame, nights: Sequence[date], zone: ZoneInfo) -> Nights:
    """Several nights of every bearing, bearing by bearing.

    ``events`` are those that the last night sees; each night before it must see those of them that lie before its end.
    """
    n, count = len(bearings), len(nights)
    ends = np.array([instant(as_of(night, zone)) for night in nights], dtype="datetime64[us]")
    told = told_of(bearings, events).sort_values(["which", "time"], kind="stable", ignore_index=True)
    which = told["which"].to_numpy(dtype=np.int64)
    due = np.searchsorted(ends, told["when"].to_numpy(), side="right")  # the first night that sees the event
    begins = np.zeros((n, count), dtype=np.bool_)
    begins[:, 0] = True
    begins[which[due < count], due[due < count]] = True
    spell = np.cumsum(begins.ravel()) - 1
    of_bearing, column = np.nonzero(begins)
    first = np.searchsorted(of_bearing, which), np.searchsorted(of_bearing, which, side="right")
    pair, each = _spread(*first)
    seen = due[each] <= column[pair]
    told = told.iloc[each[seen]].assign(which=pair[seen]).reset_index(drop=True)
    words = bearings.select_dtypes("str").columns  # each is one object, however often it is repeated
    tiled = bearings.astype(dict.fromkeys(words, object)).iloc[np.repeat(np.arange(n), count)].reset_index(drop=True)
    return Nights(tiled, np.tile(np.array(nights, dtype="datetime64[D]"), n), np.tile(ends, n), spell, told)


def _spread(low: IntArray, high: IntArray) -> tuple[IntArray, IntArray]:
    """Every number from ``low`` up to ``high`` of every entry, and the entry that it belongs to."""
    size = high - low
    each = np.repeat(np.arange(len(size)), size)
    return np.arange(len(each)) - np.repeat(np.cumsum(size) - size, size) + low[each], each


def distinct(*keys: npt.NDArray[np.generic] | pd.Series) -> tuple[IntArray, IntArray]:
    """The first row of every different combination of the keys, in order of appearance, and which each row has."""
    code = np.zeros(len(keys[0]), dtype=np.int64)
    for key in keys:
        own, known = pd.factorize(np.asarray(key), use_na_sentinel=False)
        code = pd.factorize(code * max(len(known), 1) + own)[0]
    first = np.full(int(code.max(initial=-1)) + 1, -1, dtype=np.int64)
    first[code[::-1]] = np.arange(len(code))[::-1]
    return first, np.asarray(code, dtype=np.int64)
