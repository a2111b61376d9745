"""Thirty days of real vibration of two ventilation units, ten minutes apart, with no operating tag.

Data: ``skchange.datasets.load_hvac_system_data`` (BSD-3). Unit 1 runs on weekdays and stands at week-ends and from
3 January 2024 on; unit 0 stands for eleven hours of every night and runs at two levels.
"""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from skchange.datasets import load_hvac_system_data

from condlube.manipulation.summarise import summarise
from condlube.schema.tables import TABLES

UTC = ZoneInfo("UTC")


def table(name, *given):
    return pd.DataFrame([{column: row.get(column) for column in TABLES[name].columns} for row in given])


@pytest.fixture(scope="module", params=["acceleration", "velocity"])
def found(request, policy):
    data = load_hvac_system_data()
    readings = pd.DataFrame({
        "point_id": np.where(data["unit_id"] == 0, "u0", "u1"),
        "time": pd.DatetimeIndex(data["time"]).tz_localize("UTC").as_unit("us"),
        "value": data["data"][:, 0], "quality": "good",
    })  # fmt: skip
    readings["known_at"] = readings["time"] + pd.Timedelta(hours=6)
    units = ("u0", "u1")
    points = table("points", *({"point_id": u, "bearing_id": u, "quantity": request.param, "sampling": "continuous"}
                               for u in units))  # fmt: skip
    bearings = table("bearings", *({"bearing_id": u, "machine_id": u, "speed_rpm": 1480.0} for u in units))
    days = sorted(set(readings["time"].dt.date))
    return summarise(readings, points, bearings, days, UTC, policy).assign(
        weekday=lambda t: t["date"].dt.day_of_week, level=lambda t: t["median"]
    )


def test_unit_1_stands_at_week_ends_and_after_new_year(found):
    unit = found[(found["point_id"] == "u1") & found["date"].between("2023-12-11", "2024-01-07")]
    standing = (unit["weekday"] >= 5) | (unit["date"] >= "2024-01-03")
    assert set(unit[standing]["cell"]) == {-1}
    assert set(unit[standing]["fault"]) == {""}
    assert (unit[standing]["running_h"] == 0).all()
    working = unit[~standing & (unit["cell"] == 0)]
    assert len(working) == 17
    assert working["running_h"].between(10, 12).all()
    assert working["level"].between(0.04, 0.08).all()


def test_the_first_week_end_is_never_taken_for_running_evidence(found):
    """Before the unit has ever run, so little vibration is no running machine's."""
    first = found[(found["point_id"] == "u1") & (found["date"] <= "2023-12-10")]
    assert (first["n"] == 0).all()
    assert set(first[first["n_total"] > 0]["cell"]) == {-1}
    assert set(first["fault"]) == {""}


def test_unit_0_stands_eleven_hours_a_night_and_keeps_both_running_levels(found):
    unit = found[(found["point_id"] == "u0") & (found["date"] < "2023-04-17")]
    running = unit[unit["cell"] == 0]
    assert len(running) == 30
    assert running["running_h"].iloc[1:].between(12.5, 13.5).all()  # the first day's first hours are not on record
    assert (running["p10"] > 0.07).all()  # neither level is taken for standstill
    assert (running["p90"] > 0.38).all()
    assert (unit[unit["cell"] == -1]["p90"] < 0.005).all()
