"""Short cycles: a level that fell after each of the last greasings and came back within days, again and again."""

from __future__ import annotations

import numpy as np

from condlube.detection.begins import Begin
from condlube.detection.response import RETURNED, responses
from condlube.manipulation.kernel import Floats, Ints, first_at_least
from condlube.policy.detection import Detection

MANY = 2  # so many greasings whose effect was gone within days are a cycle


def returns(
    point: Ints, lo: Ints, hi: Ints, day: Ints, residual: Floats, spread: Floats, night: Ints, raised: Floats,
    begins: list[list[Begin]], policy: Detection,
) -> Ints:  # fmt: skip
    """How many greasings in the window, the last one aside, each series answered by ``returned`` before the next.

    Series k is rows ``lo[k]`` to ``hi[k]`` of point ``point[k]``.
    """
    greasings = [[b.day for b in own if b.kind == "relubrication"] for own in begins]
    asked = [
        (k, first, second)
        for k in np.flatnonzero(np.array([len(own) for own in greasings], dtype=np.int64)[point] > 1).tolist()
        for first, second in zip(greasings[point[k]], greasings[point[k]][1:], strict=False)
        if night[k] - policy.window_days <= first and second <= night[k]
    ]
    if not asked:
        return np.zeros(len(point), dtype=np.int64)
    k, first, second = (np.array(column, dtype=np.int64) for column in zip(*asked, strict=True))
    stop = first_at_least(day, lo[k], hi[k], second)
    answer = responses(
        lo[k], stop, day, residual, spread[k], first, raised[k], policy.response_before_nights,
        policy.response_settle_days, policy.response_held, policy.response_back, policy.response_back_days,
        policy.response_worse_spreads,
    )  # fmt: skip
    return np.bincount(k[answer == RETURNED], minlength=len(point))
