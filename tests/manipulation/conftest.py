"""Small plants: hourly readings of one machine, and their summaries."""

from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from condlube.manipulation.summarise import summarise
from condlube.policy.parse import parse_policy
from condlube.schema.tables import TABLES

FIRST = date(2024, 3, 4)  # a Monday
LEVELS = {
    "ultrasound": 22.0, "acceleration": 0.6, "velocity": 1.4, "kurtosis": 3.1, "temperature": 60.0,
    "speed": 1480.0, "current": 20.0, "power": 11.0, "ambient": 20.0, "load": 75.0,
}  # fmt: skip


def rows(table, *given):
    return pd.DataFrame([{name: row.get(name) for name in TABLES[table].columns} for row in given])


@pytest.fixture(scope="session")
def policy():
    text = (Path(__file__).parents[2] / "condlube/policy/default.toml").read_text(encoding="utf-8")
    return parse_policy(text, "default.toml")


@pytest.fixture
def plant(policy):
    """A builder of plants: signals by point, hourly from FIRST on, on one machine of one bearing or as told."""

    def build(days=10, zone="UTC", step="1h", seed=1, **points):
        zone = ZoneInfo(zone)
        begin = pd.Timestamp(FIRST, tz=zone)
        end = pd.Timestamp(FIRST + timedelta(days=days), tz=zone)
        time = pd.date_range(begin.tz_convert("UTC"), end.tz_convert("UTC"), freq=step, inclusive="left", unit="us")
        rng = np.random.default_rng(seed)
        made = SimpleNamespace(time=time, zone=zone, values={}, quality={}, policy=policy)
        made.hours = np.asarray((time - time[0]) / pd.Timedelta("1h"))
        made.days = [FIRST + timedelta(days=k) for k in range(days)]
        given = []
        for name, quantity in points.items():
            point = {"quantity": quantity} if isinstance(quantity, str) else dict(quantity)
            if not {"bearing_id", "machine_id", "plant_wide"} & set(point):
                key = "bearing_id" if point["quantity"] in list(LEVELS)[:5] else "machine_id"
                point[key] = "B1" if key == "bearing_id" else "M1"
            given.append({"point_id": name, "sampling": "continuous", **point})
            level = LEVELS[point["quantity"]]
            quantity = point["quantity"]
            spread = {"ultrasound": 0.5, "temperature": 0.5, "ambient": 0.5, "speed": 1.0}.get(quantity, 0.03 * level)
            noise = rng.normal(0, spread, len(time))
            made.values[name] = level + noise
            made.quality[name] = np.full(len(time), "good", object)
        made.points = rows("points", *given)
        made.bearings = rows("bearings", {"bearing_id": "B1", "machine_id": "M1", "speed_rpm": 1480.0,
                                          "speed_min_rpm": 148.0, "running_share": 1.0})  # fmt: skip

        def readings():
            parts = [
                pd.DataFrame({"point_id": name, "time": time, "value": value, "quality": made.quality[name]})
                for name, value in made.values.items()
            ]
            table = pd.concat(parts, ignore_index=True)
            table["known_at"] = table["time"] + pd.Timedelta(hours=6)
            return table

        def summaries(days=None, earlier=None, table=None):
            table = made.readings() if table is None else table
            found = summarise(table, made.points, made.bearings, days or made.days, zone, made.policy, earlier)
            return found.assign(day=[made.days.index(d.date()) for d in found["date"]])

        made.readings, made.summaries = readings, summaries
        return made

    return build


@pytest.fixture
def row():
    """One row of summaries: point, number of the day, cell."""

    def pick(found, point, day, cell=0):
        chosen = found[(found["point_id"] == point) & (found["day"] == day) & (found["cell"] == cell)]
        assert len(chosen) == 1, f"{len(chosen)} rows of {point}, day {day}, cell {cell}"
        return chosen.iloc[0]

    return pick
