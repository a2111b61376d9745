"""Silence: vibration or ultrasound that has all but gone tells a machine that stands, or a sensor that is dead.

One quiet signal alone tells neither: it stays a fall, a question. Where as many others of the machine run on, the
quiet one is dead, and so is one that never had any life. Where all of them went quiet, at least two, and it grew cold
as well, the machine stands.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection.lifeless import AMPLITUDES, IMPULSIVE, lifeless
from condlube.detection.series import Cells, of_quantity
from condlube.manipulation.kernel import Bools, Ints
from condlube.policy.model import Policy


def silence(rows: pd.DataFrame, cells: Cells, policy: Policy) -> tuple[Bools, Bools, Bools]:
    """Which of ``rows`` (point, day, status, residual) belong to a machine that stands, which to a dead sensor, and
    which to either."""
    points, point = cells.points, rows["point"].to_numpy()
    quantity = points["quantity"].to_numpy(dtype=object)[point]
    assessed = (rows["status"] == "assessed").to_numpy()
    residual = rows["residual"].to_numpy(dtype=float)
    quiet_by = of_quantity(policy.detection.silence, points)[point]
    fall = of_quantity(policy.detection.fall, points)[point]
    never, faint = lifeless(rows, cells, policy)
    dead = assessed & never
    assessed = assessed & ~dead
    amplitude = assessed & np.isin(quantity, AMPLITUDES)
    quiet = amplitude & (residual <= -quiet_by)
    warm = assessed & (quantity == "temperature")
    machine = pd.factorize(points["machine_id"].where(points["machine_id"].notna(), points["bearing_id"]))[0]
    known = machine[point] >= 0
    group = pd.factorize((machine[point] + 1) * np.int64(10**7) + rows["day"].to_numpy())[0]

    def count(told: Bools) -> Ints:
        return np.asarray(np.bincount(group, told)[group], dtype=np.int64)

    cold = warm & (residual <= -quiet_by)
    stands = (count(quiet) >= 2) & (count(amplitude & ~quiet) == 0)
    stands &= (count(cold) > 0) & (count(warm & (residual > -quiet_by)) == 0)
    of_silence = quiet | cold | (assessed & np.isin(quantity, IMPULSIVE))
    loud = count(amplitude & (residual > -fall))
    dead |= quiet & known & (loud > 0) & (loud >= count(quiet))
    return stands & of_silence & known, dead, assessed & faint & ~dead
