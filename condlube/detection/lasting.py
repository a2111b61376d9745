"""Lasting deviations: how a rise began that stands for longer than the window, kept in the table ``expected``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.detection.begins import Begin, local_days
from condlube.detection.states import within
from condlube.manipulation.kernel import Floats, Ints
from condlube.schema.words import ONSETS

STANDING = "standing"  # state of a row that notes a rise; it begins with the onset
LOOKED = "looked"  # state of a row that says that all points were looked at
_SAME_DAYS = 10  # an onset found at the edge of the window belongs to the rise that was noted when it was in full view


@dataclass(frozen=True)
class Lasting:
    """Notes, ordered by point and the day on which they were made.

    Day and code of onset, common share, and the residual that a change of the machine's operation brought (0: none).
    """

    point: Ints
    day: Ints
    onset_day: Ints
    code: Ints
    share: Floats
    operating: Floats

    def common(self, point: Ints, night: Ints) -> Floats:
        """Residual that a change of operation brought to each point, as noted before each night; 0 without a note."""
        return np.append(self.operating, 0.0)[within(self.point, self.day, point, night - 1)]

    def remembered(self, rows: pd.DataFrame, begins: list[list[Begin]]) -> dict[str, Any]:
        """Columns of ``rows`` (one for each point and night) that tell how a rise began, with what was noted of it.

        What is found in the window goes before a note of another rise.
        """
        point, night = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "day"))
        code, onset_day, share = (rows[c].to_numpy(dtype=float) for c in ("onset_code", "onset_day", "share"))
        at = within(self.point, self.day, point, night - 1)
        noted = np.append(self.onset_day, -1)[at]
        raised = rows["raised"].eq(True).to_numpy()
        same = (at >= 0) & raised & ((code == 0) | (np.abs(onset_day - noted) <= _SAME_DAYS))
        for k in np.flatnonzero(same).tolist():
            same[k] = not any(b.change and noted[k] <= b.day <= night[k] for b in begins[point[k]])
        return {
            "onset_code": np.where(same, np.append(self.code, 0)[at], code),
            "onset_day": np.where(same, noted, onset_day),
            "share": np.where(same, np.maximum(share, np.append(self.share, 0.0)[at]), share),
        }


def lasting_of(expected: pd.DataFrame, point_ids: list[str], zone: ZoneInfo) -> Lasting:
    """The notes on the given points."""
    position = pd.Index(point_ids).get_indexer(pd.Index(expected["point_id"]))
    rows = expected.assign(point=position)[(position >= 0) & (expected["reference_state"] == STANDING).to_numpy()]
    rows = rows.sort_values(["point", "reference_until", "reference_from"])
    return Lasting(
        rows["point"].to_numpy(dtype=np.int64),
        local_days(rows["reference_until"], zone) - 1,
        local_days(rows["reference_from"], zone),
        np.array([ONSETS.index(word) for word in (rows["onset"] if len(rows) else ())], dtype=np.int64),
        rows["share"].to_numpy(dtype=float) if len(rows) else np.zeros(0),
        rows["taken_off"].fillna(0.0).to_numpy(dtype=float) if len(rows) else np.zeros(0),
    )
