"""Like points on one day: those of one family, and which of them stands far below the others."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

from condlube.manipulation.kernel import Bools, Floats, Ints


class Like(NamedTuple):
    """Rows by family and day, within these by their newest level.

    ``row`` [n] holds the rows; ``begin`` and ``end`` [rows] tell where those of a row's family and day lie, both 0 for
    a row without a family. ``far_below`` [rows]: whether it stands by so much under the middle of the others.
    """

    row: Ints
    begin: Ints
    end: Ints
    far_below: Bools

    @classmethod
    def of(cls, newest: Floats, rows: pd.DataFrame, families: list[str], by: Floats) -> Like:
        """``newest`` [rows] are the newest levels, ``families`` those of the points, ``by`` [rows] how much is far."""
        code, names = pd.factorize(np.array(families, dtype=object))
        point, day = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "day"))
        row = np.flatnonzero(np.isfinite(newest) & (names[code] != "")[point])
        key = day[row] * len(names) + code[point[row]]
        order = np.lexsort((newest[row], key))
        row, key = row[order], key[order]
        begin, end = np.zeros((2, len(rows)), dtype=np.int64)
        begin[row], end[row] = np.searchsorted(key, key), np.searchsorted(key, key, side="right")
        others, place = (end - begin)[row] - 1, np.arange(len(row)) - begin[row]
        some = np.flatnonzero(others > 0)
        at = [(others[some] - back) // 2 for back in (1, 0)]  # the middle two of the others, or the one twice
        at = [begin[row[some]] + i + (i >= place[some]) for i in at]
        middle = (newest[row[at[0]]] + newest[row[at[1]]]) / 2
        far = np.zeros(len(rows), dtype=bool)
        far[row[some]] = newest[row[some]] <= middle - by[row[some]]
        return cls(row, begin, end, far)

    def others(self, row: int) -> Ints:
        """The rows of a row's family and day but itself."""
        own = self.row[self.begin[row] : self.end[row]]
        others: Ints = own[own != row]
        return others
