"""The policy's numbers as kernels need them: one array, times in microseconds."""

from __future__ import annotations

import numpy as np

from condlube.manipulation.kernel import Floats
from condlube.policy.model import Policy
from condlube.schema.words import QUANTITIES

HOUR = 3.6e9  # microseconds
DAY = 24 * HOUR

(COVERAGE_MIN, STALE_AFTER, FAULT_SHARE, ZERO_READINGS, FROZEN_FOR, FROZEN_READINGS, FROZEN_BITS, FROZEN_AMBIENT_K,
 SPIKE_DB, SPIKE_K, UNIT_TOLERANCE, UNIT_READINGS, LEVEL_SHARE, POWER_FLOOR, CURRENT_FLOOR, APART_DB, BETWEEN_SHARE,
 SIDE_SHARE, SWINGS, CONTRADICTED_SHARE, HOLD, LOOKBACK_DAYS, MEMORY_DAYS, LAG, SETTLE, CELL_WIDTH, CELLS_MAX,
 REST_VELOCITY, REST_ACCELERATION, ERRATIC_DB, ERRATIC_SHARE, ERRATIC_STEPS, COARSEST) = range(33)  # fmt: skip
"""Places in the array; the coarsest step of each quantity follows from ``COARSEST`` on."""


def rules_of(policy: Policy) -> Floats:
    """The numbers of ``[quality]``, ``[running]`` and ``[summary]``, shape (COARSEST + quantities,)."""
    q, r, s = policy.quality, policy.running, policy.summary
    return np.array([
        q.coverage_min, q.stale_h * HOUR, q.fault_share, q.zero_readings, q.frozen_h * HOUR, q.frozen_readings,
        q.frozen_bits, q.frozen_ambient_k, q.spike_db, q.spike_k, q.unit_tolerance, q.unit_readings,
        r.level_share, r.power_floor_kw, r.current_floor_a, r.apart_db, r.between_share, r.side_share, r.swings,
        r.contradicted_share, r.hold_h * HOUR, s.lookback_days, s.memory_days, s.lag_h * HOUR,
        s.settle_h * HOUR, s.cell_width, s.cells_max, r.rest_velocity_mm_s, r.rest_acceleration_g,
        q.erratic_db, q.erratic_share, q.erratic_steps,
        *(q.coarsest.of(name) for name in QUANTITIES),
    ])  # fmt: skip


def rest_of(rules: Floats) -> Floats:
    """Highest value (not dB) of each quantity that is no more than a sensor's own noise; -inf where none is known."""
    rest = np.full(len(QUANTITIES), -np.inf)
    rest[QUANTITIES.index("velocity")], rest[QUANTITIES.index("acceleration")] = rules[
        [REST_VELOCITY, REST_ACCELERATION]
    ]
    return rest
