"""Rows and columns of the arrays that kernels share: what stands where."""

from __future__ import annotations

# Readings (4, readings), sorted by point and time.
TIME, VALUE, CODE, KNOWN_AT = range(4)

# Points (points, 5): quantity, route or not, the register's shaft speed, the speed under which the machine stands,
# and the share of unknown time that it runs.
QUANTITY, ROUTE, SHAFT_RPM, MIN_RPM, RUNNING_SHARE = range(5)

# Operation (9, times) of machines one after another: conditions from each time to the next. Speed is relative to the
# register's, 0 at standstill; ``STARTED`` is the newest start.
AT, STATE, SPEED_HELD, LOAD_HELD, AMBIENT_HELD, SPEED_LAG, LOAD_LAG, AMBIENT_LAG, STARTED = range(9)
OPERATION_FIELDS = 9

# Summary rows (rows, FIELDS).
(POINT, DATE, CELL, N, N_TOTAL, RUNNING_H, MEDIAN, SPREAD, P10, P90, COVERAGE, FAULT, SPEED_RPM, LOAD_MEAN,
 AMBIENT_MEAN, SPEED_LAGGED, LOAD_LAGGED, AMBIENT_LAGGED, STARTS, LAST_VALUE, LAST_TIME, KNOWN,
 OCTILE) = range(23)  # fmt: skip
FIELDS = OCTILE + 8

# Memory (points, calendar days, REMEMBERED): see ``memory.remember``.
(READINGS, LOW, HIGH, RUN_N, RUN_LOW, RUN_MID, RUN_HIGH, STOP_N, STOP_LOW, STOP_MID, STOP_HIGH, RULED) = range(12)
REMEMBERED = 12
