"""What earlier summaries tell about a point: one line of figures per point and day."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats, kernel
from condlube.manipulation.reasons import FROZEN, SOUND

# Fields of a summary row inside kernels.
(POINT, DATE, CELL, N, N_TOTAL, RUNNING_H, MEDIAN, SPREAD, P10, P90, COVERAGE, FAULT, SPEED_RPM, LOAD_MEAN, AMBIENT_MEAN,
 SPEED_LAGGED, LOAD_LAGGED, AMBIENT_LAGGED, STARTS, LAST_VALUE, LAST_TIME, KNOWN, OCTILE) = range(23)  # fmt: skip
FIELDS = OCTILE + 8

# Fields of the memory.
(READINGS, LOW, HIGH, RUN_N, RUN_LOW, RUN_MID, RUN_HIGH, STOP_N, STOP_LOW, STOP_MID, STOP_HIGH, RULED) = range(12)
REMEMBERED = 12


@kernel
def remember(rows: Floats, out: Floats) -> None:
    """The figures of one point and day, from its summary rows (rows, FIELDS), into ``out`` (REMEMBERED,).

    Of running cells the lowest 10 % and highest 90 % quantile and the median of the fullest cell; of cell -1 the same
    where it holds standstill, or a value frozen before standstill was known.
    """
    out[:] = np.nan
    out[READINGS], out[RUN_N], out[STOP_N], out[RULED] = 0.0, 0.0, 0.0, 0.0
    fullest = 0.0
    for k in range(rows.shape[0]):
        row = rows[k]
        out[READINGS] += row[N_TOTAL]
        out[LOW] = np.fmin(out[LOW], row[P10])
        out[HIGH] = np.fmax(out[HIGH], row[P90])
        if row[CELL] >= 0:
            out[RUN_N] += row[N]
            out[RUN_LOW] = np.fmin(out[RUN_LOW], row[P10])
            out[RUN_HIGH] = np.fmax(out[RUN_HIGH], row[P90])
            if row[N] > fullest:
                fullest, out[RUN_MID] = row[N], row[MEDIAN]
        else:
            out[RULED] = row[FAULT]
            if (row[FAULT] == SOUND or row[FAULT] == FROZEN) and not np.isnan(row[MEDIAN]):
                out[STOP_N], out[STOP_LOW], out[STOP_MID] = row[N_TOTAL], row[P10], row[MEDIAN]
                out[STOP_HIGH] = row[P90]


@kernel
def remember_all(rows: Floats, memory: Floats) -> None:
    """Rows sorted by point, date and version into ``memory`` (points, days, REMEMBERED); of a day the newest version."""
    start = 0
    for k in range(1, rows.shape[0] + 1):
        same_day = k < rows.shape[0] and rows[k, POINT] == rows[start, POINT] and rows[k, DATE] == rows[start, DATE]
        if same_day and rows[k, KNOWN] == rows[start, KNOWN]:
            continue
        if not same_day:
            remember(rows[start:k], memory[int(rows[start, POINT]), int(rows[start, DATE])])
        start = k
