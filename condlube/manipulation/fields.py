"""Rows and columns of the arrays that kernels share: what stands where."""

from __future__ import annotations

# Readings (5, readings), sorted by point and time; the level is the value in dB, of a quantity that is no amplitude the
# value itself.
TIME, VALUE, CODE, KNOWN_AT, LEVEL = range(5)

# Points (points, 5): quantity, route or not, the register's shaft speed, the speed under which the machine stands,
# and the share of unknown time that it runs.
QUANTITY, ROUTE, SHAFT_RPM, MIN_RPM, RUNNING_SHARE = range(5)

# Operation (10, times) of machines one after another: conditions from each time to the next. Speed is relative to the
# register's, 0 at standstill; ``STARTED`` is the newest start; ``WITNESSES`` how many tags and signals say that the
# machine runs as usual.
AT, STATE, SPEED_HELD, LOAD_HELD, AMBIENT_HELD, SPEED_LAG, LOAD_LAG, AMBIENT_LAG, STARTED, WITNESSES = range(10)
OPERATION_FIELDS = 10

# Summary rows (rows, FIELDS); the memory is made from the first of them.
(POINT, DATE, CELL, KNOWN, N, N_TOTAL, MEDIAN, P10, P90, FAULT, SPREAD, RUNNING_H, COVERAGE, SPEED_RPM, LOAD_MEAN,
 AMBIENT_MEAN, SPEED_LAGGED, LOAD_LAGGED, AMBIENT_LAGGED, STARTS, LAST_VALUE, LAST_TIME,
 OCTILE) = range(23)  # fmt: skip
MEMORABLE = FAULT + 1
FIELDS = OCTILE + 8

# Memory (points, calendar days, REMEMBERED): see ``memory.remember``.
(READINGS, LOW, HIGH, RUN_N, RUN_LOW, RUN_MID, RUN_HIGH, STOP_N, STOP_LOW, STOP_MID, STOP_HIGH, RULED) = range(12)
REMEMBERED = 12
