"""Whether the temperature settles: after a greasing, or up with nothing to explain it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.evidence import Evidence
from condlube.assessment.inspected import at_inspection
from condlube.assessment.records import Records
from condlube.assessment.sources import LEVELS, POSITION, FloatArray
from condlube.assessment.wording import first_word
from condlube.policy.model import Policy


@dataclass(frozen=True)
class Settling:
    """Arrays over rows.

    ``kind`` is how the temperature did not settle, empty where it did: ``rising`` after a greasing, ``above_before``
    the level that it had before one, or up and ``unexplained``. ``over_before`` (K) is its rise over the level before
    the greasing, NaN where that is not judged tonight. ``unexplained_in_d`` tells in how many days a rise that nothing
    explains will have stood long enough, inf where there is none.
    """

    kind: npt.NDArray[np.object_]
    over_before: FloatArray
    unexplained_in_d: FloatArray


def settling(life: pd.DataFrame, records: Records, evidence: Evidence, policy: Policy) -> Settling:
    """How the temperature settles, per row.

    What most of the collector's points show is the weather or the process, not this bearing. An inspection without
    finding answers a rise until it has gone further.
    """
    p = policy.guard.unsettled
    over = evidence.value("temperature")
    answered = over < at_inspection(records, evidence, "temperature") + p.rising_k
    answered |= evidence.figure("temperature", "share") >= p.shared_share
    rise = over - np.nan_to_num(evidence.figure("temperature", "before_greasing"))
    hours = life["days"].to_numpy(dtype=np.float64) * 24
    greased = (life["origin"] == "greasing").to_numpy() & (hours <= p.until_days * 24)
    climbing = evidence.figure("temperature", "level_now") - evidence.figure("temperature", "observed") >= p.rising_k
    climbing &= hours >= 24 + p.rising_after_h
    judged = greased & (climbing | (hours >= p.after_h))
    others = [evidence.bits[:, POSITION[s]].max(axis=1) > 0 for s in LEVELS if s != "temperature"]
    alone = ~np.logical_or.reduce(others)
    nights = evidence.figure("temperature", "nights_over")
    up = (over > p.unexplained_k) & alone & ~answered
    in_d = np.where(up, np.maximum(p.unexplained_nights - nights, 0.0), np.inf)
    high = judged & (rise > p.over_before_k) & ~answered
    kind = first_word({"rising": high & climbing, "above_before": high, "unexplained": in_d == 0})
    return Settling(kind, np.where(judged, rise, np.nan), in_d)
