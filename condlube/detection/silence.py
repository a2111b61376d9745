"""Silence: vibration or ultrasound that has all but gone tells a machine that stands, or a sensor that is dead.

One quiet signal alone tells neither: it stays a fall, a question. Where another signal of the machine runs on, the
quiet one is dead, and so is one that never had any life. Where all of them went quiet, at least two, and it grew cold
as well, the machine stands.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection.lifeless import AMPLITUDES, IMPULSIVE, lifeless
from condlube.detection.series import Cells
from condlube.manipulation.kernel import Bools
from condlube.policy.model import Policy


def silence(rows: pd.DataFrame, cells: Cells, policy: Policy) -> tuple[Bools, Bools]:
    """Which of ``rows`` (point, day, status, residual) belong to a machine that stands, and which to a dead sensor."""
    points = cells.points.iloc[rows["point"].to_numpy()]
    quantity = points["quantity"].to_numpy(dtype=object)
    assessed = (rows["status"] == "assessed").to_numpy()
    residual = rows["residual"].to_numpy(dtype=float)
    quiet_by = np.array([policy.detection.silence.of(q) for q in quantity], dtype=float)
    fall = np.array([policy.detection.fall.of(q) for q in quantity], dtype=float)
    dead = assessed & lifeless(rows, cells, policy)
    assessed = assessed & ~dead
    amplitude = assessed & np.isin(quantity, AMPLITUDES)
    quiet = amplitude & (residual <= -quiet_by)
    warm = assessed & (quantity == "temperature")
    told = pd.DataFrame({
        "quiet": quiet,
        "other": amplitude & ~quiet,
        "loud": amplitude & (residual > -fall),
        "cold": warm & (residual <= -quiet_by),
        "warm": warm & (residual > -quiet_by),
    })  # fmt: skip
    machine = points["machine_id"].where(points["machine_id"].notna(), points["bearing_id"]).to_numpy(dtype=object)
    known = pd.notna(machine)
    of = told.groupby([pd.Series(machine).fillna(""), rows["day"].to_numpy()]).transform("sum")
    stands = (of["quiet"] >= 2) & (of["other"] == 0) & (of["cold"] > 0) & (of["warm"] == 0)
    of_silence = quiet | (warm & (residual <= -quiet_by)) | (assessed & np.isin(quantity, IMPULSIVE))
    return stands.to_numpy() & of_silence & known, dead | (quiet & known & (of["loud"] > 0).to_numpy())
