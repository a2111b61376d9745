"""What earlier summaries tell about a point: one line of figures per point and day."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.fields import (
    CELL,
    DATE,
    FAULT,
    HIGH,
    KNOWN,
    LOW,
    MEDIAN,
    N_TOTAL,
    P10,
    P90,
    POINT,
    READINGS,
    REMEMBERED,
    RULED,
    RUN_HIGH,
    RUN_LOW,
    RUN_MID,
    RUN_N,
    STOP_HIGH,
    STOP_LOW,
    STOP_MID,
    STOP_N,
    N,
)  # fmt: skip
from condlube.manipulation.kernel import Floats
from condlube.manipulation.reasons import FROZEN, SOUND, ZERO


def blank(points: int, days: int) -> Floats:
    """A memory of nothing, shape (points, days, REMEMBERED)."""
    memory = np.full((points, days, REMEMBERED), np.nan)
    memory[:, :, [READINGS, RUN_N, STOP_N, RULED]] = 0.0
    return memory


def remember(rows: Floats, days_on: int, memory: Floats) -> None:
    """Put summary rows (rows, MEMORABLE or more) into a contiguous ``memory``; a row of date d goes to d + ``days_on``.

    Of several versions of a point and day the newest holds. Remembered are the readings, the lowest 10 % and the
    highest 90 % quantile of all cells; of the running cells their readings, the same quantiles and the median of the
    fullest; the same of cell -1 where it holds standstill, or a frozen value or zeros (a level, though perhaps no
    standstill); and the fault that ruled cell -1.
    """
    if not len(rows):
        return
    rows = rows[np.lexsort((-rows[:, CELL], rows[:, N], rows[:, KNOWN], rows[:, DATE], rows[:, POINT]))]
    other = (rows[1:, [POINT, DATE]] != rows[:-1, [POINT, DATE]]).any(axis=1)
    last = np.flatnonzero(np.append(other, True))
    newest = np.repeat(rows[last, KNOWN], np.diff(last, prepend=-1))
    rows = rows[rows[:, KNOWN] == newest]
    point, day = rows[:, POINT].astype(np.int64), rows[:, DATE].astype(np.int64) + days_on
    memory[point, day] = blank(1, 1)[0, 0]
    running = rows[:, CELL] >= 0
    place = (point * memory.shape[1] + day) * REMEMBERED
    flat = memory.reshape(-1)
    for which, low, high in ((slice(None), LOW, HIGH), (running, RUN_LOW, RUN_HIGH)):
        np.fmin.at(flat, place[which] + low, rows[which, P10])
        np.fmax.at(flat, place[which] + high, rows[which, P90])
    np.add.at(flat, place + READINGS, rows[:, N_TOTAL])
    np.add.at(flat, place[running] + RUN_N, rows[running, N])
    full = running & (rows[:, N] > 0)
    memory[point[full], day[full], RUN_MID] = rows[full, MEDIAN]  # rows with most readings, then lowest cell, come last
    rest = ~running
    memory[point[rest], day[rest], RULED] = rows[rest, FAULT]
    still = rest & np.isin(rows[:, FAULT], [SOUND, FROZEN, ZERO]) & ~np.isnan(rows[:, MEDIAN])
    figures = [STOP_N, STOP_LOW, STOP_MID, STOP_HIGH]
    memory[point[still][:, None], day[still][:, None], figures] = rows[still][:, [N_TOTAL, P10, MEDIAN, P90]]
