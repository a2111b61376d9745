"""The numbers of a policy that the kernel needs, and the columns of a bearing's context."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from condlube.assessment.sources import FloatArray
from condlube.policy.model import Policy
from condlube.schema.words import ACTIONS, STATES

CONTEXT = (
    "x", "x_since", "running_h", "interval_h", "days", "overfilled_added", "starved_factor", "overfilled_factor",
    "supply_factor", "damaged", "machine_fault", "instrument_fault",
)  # fmt: skip
"""What the priors of one bearing-night depend on.

x: share of the interval used up; x_since, running_h, days: since grease was last put in; interval_h;
overfilled_added: what that greasing added; factors on the priors of starved, overfilled and supply fault; priors of
three states.
"""


class Rules(NamedTuple):
    """Numbers of ``[prior]`` and ``[cost.hold]``."""

    starved_at_interval: float
    weibull_slope: float
    overfilled: float
    overfilled_half_life_h: float
    overfilled_half_lives: float
    supply_fault: float
    supply_fault_half_life_x: float
    supply_fault_at_interval: float
    others_max: float
    overfilled_fresh: float
    fresh_days: float
    full_days: float


@lru_cache(maxsize=64)
def rules(policy: Policy) -> Rules:
    """The numbers of a policy."""
    prior, hold = policy.prior, policy.cost.hold
    return Rules(
        prior.starved_at_interval, prior.weibull_slope, prior.overfilled, prior.overfilled_half_life_h,
        prior.overfilled_half_lives_per_interval, prior.supply_fault, prior.supply_fault_half_life_x,
        prior.supply_fault * 2.0 ** (-1.0 / prior.supply_fault_half_life_x), prior.others_max,
        hold.overfilled_fresh, hold.fresh_days, hold.full_days,
    )  # fmt: skip


@lru_cache(maxsize=64)
def costs(policy: Policy) -> FloatArray:
    """Cost table [actions, states]. Hold against starved is solved per bearing and is NaN here."""
    return np.array(
        [[getattr(getattr(policy.cost, action), state, np.nan) for state in STATES] for action in ACTIONS],
        dtype=np.float64,
    )
