"""Short cycles: a level that fell after each of the last greasings and came back within days, again and again."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from condlube.detection.begins import Begin
from condlube.detection.response import RETURNED, responses
from condlube.manipulation.kernel import Floats, Ints, first_at_least, ranges, starts_of
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
    found = [(p, *pair) for p, days in enumerate(greasings) for pair in pairwise(days)]
    own, first, second = np.array(found, dtype=np.int64).reshape(-1, 3).T
    near = (first >= night.min(initial=0) - policy.window_days) & (second <= night.max(initial=0))
    own, first, second = own[near], first[near], second[near]
    start = starts_of(own, len(begins))
    k, pair = np.repeat(np.arange(len(point)), np.diff(start)[point]), ranges(start[point], start[point + 1])
    told = (night[k] - policy.window_days <= first[pair]) & (second[pair] <= night[k])
    k, first, second = k[told], first[pair[told]], second[pair[told]]
    stop = first_at_least(day, lo[k], hi[k], second)
    answer = responses(
        lo[k], stop, day, residual, spread[k], first, raised[k], policy.response_before_nights,
        policy.response_settle_days, policy.response_held, policy.response_back, policy.response_back_days,
        policy.response_worse_spreads,
    )  # fmt: skip
    return np.bincount(k[answer == RETURNED], minlength=len(point))
