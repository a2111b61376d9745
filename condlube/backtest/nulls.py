"""What a plant would do without the engine: grease by time alone, react to fixed alarms, or never inspect."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.advisory.guard_codes import TAKES
from condlube.assessment.sources import FloatArray, IntArray
from condlube.backtest.matters import GREASE, HOLD, INSPECT, NO_CALL, Grid
from condlube.lubrication.result import BoolArray

ULTRASOUND_ALARM_DB = 8.0
"""The usual alarm of ultrasound programmes: 8 dB over baseline."""
ZONE_ALARM = 2.0
"""Zone C of ISO 20816-3: not for continuous operation."""
TEMPERATURE_ALARM = 1.0
"""The register's alarm temperature is passed."""
SEEN = ("value_ultrasound", "value_zone", "value_temperature_limit")
"""What fixed alarms look at: columns of replayed decisions."""
NAMES = ("time only", "fixed alarms", "never inspecting")


def null_calls(grid: Grid, decisions: pd.DataFrame, calls: IntArray) -> dict[str, IntArray]:
    """Calls of each null on the grid, from the same nights.

    ``fixed alarms`` greases at the interval or at 8 dB, and inspects in zone C or over the alarm temperature; like the
    engine it sees levels that do not stand on a single reading. ``never inspecting`` takes the cheaper of grease and
    hold that the guards leave.
    """
    known = calls != NO_CALL
    x = number(grid, decisions, "x")
    due = x >= 1.0
    level, zone, temperature = (number(grid, decisions, column) for column in SEEN)
    ultrasound = level >= ULTRASOUND_ALARM_DB
    alarm = (zone >= ZONE_ALARM) | (temperature >= TEMPERATURE_ALARM)
    forbidden = _grease_taken(decisions["guards"])
    may = ~grid.spread(forbidden, True)
    cheaper = number(grid, decisions, "cost_grease") <= number(grid, decisions, "cost_hold")
    made = {
        "time only": np.where(due, GREASE, HOLD),
        "fixed alarms": np.where(alarm, INSPECT, np.where(due | ultrasound, GREASE, HOLD)),
        "never inspecting": np.where(cheaper & may, GREASE, HOLD),
    }
    return {name: np.where(known, found, NO_CALL) for name, found in made.items()}


def number(grid: Grid, decisions: pd.DataFrame, column: str) -> FloatArray:
    """A column of the decisions on the grid; NaN where it says nothing."""
    values = decisions[column].to_numpy(dtype=np.float64, na_value=np.nan)
    return np.asarray(grid.spread(values, np.nan), dtype=np.float64)


def _grease_taken(guards: pd.Series) -> BoolArray:
    takes = {code for code, actions in TAKES.items() if "grease" in actions}
    known = {text: any(code in takes for code in text.split()) for text in guards.fillna("").unique()}
    return np.asarray(guards.fillna("").map(known).to_numpy(dtype=np.bool_))
