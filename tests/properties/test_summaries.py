"""Summaries do not depend on batches, on the order of rows, or on how many days are taken at once."""

from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from condlube.manipulation.summarise import summarise
from condlube.policy.parse import parse_policy
from condlube.schema.tables import TABLES

ZONE = ZoneInfo("Europe/Lisbon")
FIRST, DAYS = date(2024, 3, 11), 33  # with the night of 31 March, which has 23 hours
POLICY = parse_policy(
    (Path(__file__).parents[2] / "condlube/policy/default.toml").read_text(encoding="utf-8"), "default.toml"
)
LEVELS = {"ultrasound": 22.0, "acceleration": 0.6, "velocity": 1.4, "temperature": 60.0}


def _table(name, given):
    return pd.DataFrame([{column: row.get(column) for column in TABLES[name].columns} for row in given])


@pytest.fixture(scope="module")
def plant():
    """Eight machines with and without tags, stops, dead and frozen sensors, jumps of unit, holes, late rows."""
    rng = np.random.default_rng(7)
    begin = pd.Timestamp(FIRST, tz=ZONE).tz_convert("UTC")
    time = pd.date_range(begin, begin + pd.Timedelta(days=DAYS), freq="1h", inclusive="left", unit="us")
    hour = np.arange(len(time))
    points, bearings, parts = [], [], []

    def add(name, values, **point):
        points.append({"point_id": name, "sampling": "continuous", **point})
        kept = rng.random(len(time)) > 0.03
        kept[(hour > rng.integers(0, 780)) & (hour < rng.integers(0, 780))] &= rng.random() < 0.8
        quality = rng.choice(["good", "good", "good", "uncertain", "bad"], len(time), p=[0.9, 0.03, 0.03, 0.02, 0.02])
        part = pd.DataFrame({"point_id": name, "time": time, "value": values, "quality": quality})[kept]
        part["known_at"] = part["time"] + pd.to_timedelta(rng.integers(1, 40, len(part)), unit="h")
        parts.append(part)

    for m in range(8):
        machine = f"M{m:02d}"
        stop = (hour % 24 < 7) | (hour % 168 > 140) if m % 3 else rng.random(len(time)) < 0.01
        for b in range(2):
            bearing = f"{machine}B{b}"
            bearings.append({"bearing_id": bearing, "machine_id": machine, "speed_rpm": 1480.0 / (1 + b * (m % 2)),
                             "running_share": 0.8})  # fmt: skip
            for quantity in ("ultrasound", "velocity", "temperature", "acceleration")[: 2 + (m + b) % 3]:
                level = LEVELS[quantity]
                values = level * np.exp(rng.normal(0, 0.03, len(time)))
                if quantity == "ultrasound":
                    values[stop] = 2.0 + 0.1 * rng.random(stop.sum())
                elif quantity != "temperature":
                    values[stop] *= 0.02
                at = rng.integers(100, 700)
                trouble = (m + b) % 7
                if trouble == 1:
                    values[at:] = values[at]
                elif trouble == 2:
                    values[at:] = 0.0
                elif trouble == 3 and quantity != "ultrasound":
                    values[at:] *= 25.4 if quantity == "velocity" else 9.80665
                elif trouble == 4 and quantity == "temperature":
                    values = np.round(values / 4)
                add(f"{bearing}.{quantity}", values, quantity=quantity, bearing_id=bearing)
        if m % 4 == 0:
            speed = np.where(stop, 0.0, 600 + 880 * rng.random(len(time)))
            add(f"{machine}.speed", speed, quantity="speed", machine_id=machine)
        if m % 4 == 1:
            add(f"{machine}.current", np.where(stop, 0.0, 20 + rng.normal(0, 1, len(time))), quantity="current",
                machine_id=machine)  # fmt: skip
    add("HALL", 20 + 8 * np.sin(hour / 24 * 2 * np.pi), quantity="ambient")
    return pd.concat(parts, ignore_index=True), _table("points", points), _table("bearings", bearings)


def _summaries(plant, days, earlier=None, machines=None):
    readings, points, bearings = plant
    if machines is not None:
        bearings = bearings[bearings["machine_id"].isin(machines)]
        here = points["machine_id"].isin(machines) | points["bearing_id"].isin(bearings["bearing_id"])
        points = points[here | (points["point_id"] == "HALL")]
        readings = readings[readings["point_id"].isin(points["point_id"])]
    return summarise(readings, points, bearings, days, ZONE, POLICY, earlier)


def _equal(a, b):
    order = ["point_id", "date", "cell"]
    a, b = (t.sort_values(order, ignore_index=True) for t in (a, b))
    octiles = [[None if o is None else tuple(o) for o in t["octiles"]] for t in (a, b)]
    assert octiles[0] == octiles[1]
    pd.testing.assert_frame_equal(a.drop(columns="octiles"), b.drop(columns="octiles"), check_exact=True)


@pytest.fixture(scope="module")
def days():
    return [FIRST + timedelta(days=k) for k in range(DAYS)]


@pytest.fixture(scope="module")
def whole(plant, days):
    found = _summaries(plant, days)
    assert {"zero", "frozen", "unit_jump", "gap", "stale", ""} <= set(found["fault"])
    assert set(found["cell"]) >= {-1, 0, 1, 2}
    return found


@pytest.mark.parametrize("size", [1, 7])
def test_machines_in_batches(plant, days, whole, size):
    machines = sorted(set(plant[2]["machine_id"]))
    parts = [_summaries(plant, days, machines=machines[k : k + size]) for k in range(0, len(machines), size)]
    _equal(pd.concat(parts, ignore_index=True), whole)


def test_rows_in_any_order(plant, days, whole):
    shuffled = tuple(t.sample(frac=1, random_state=5) for t in plant)
    _equal(_summaries(shuffled, days), whole)


@pytest.mark.parametrize("step", [1, 3])
def test_days_one_by_one(plant, days, whole, step):
    """Every call gets the readings of its lookback and the summaries of its memory, and no more."""
    readings, points, bearings = plant
    made = whole.iloc[:0]
    for k in range(0, DAYS, step):
        some = days[k : k + step]
        since = pd.Timestamp(some[0] - timedelta(days=POLICY.summary.lookback_days), tz=ZONE)
        until = pd.Timestamp(some[-1] + timedelta(days=1), tz=ZONE)
        near = readings[(readings["time"] >= since) & (readings["time"] < until)]
        earlier = made[made["date"] >= pd.Timestamp(some[0] - timedelta(days=POLICY.summary.memory_days))]
        found = summarise(near, points, bearings, some, ZONE, POLICY, earlier)
        made = pd.concat([made, found], ignore_index=True)
    _equal(made, whole)


def test_a_days_summary_does_not_look_ahead(plant, days, whole):
    readings, points, bearings = plant
    until = pd.Timestamp(days[25], tz=ZONE)
    found = _summaries((readings[readings["time"] < until], points, bearings), days)
    _equal(found, whole[whole["date"] < pd.Timestamp(days[25])])


def test_running_hours_of_a_point_add_up_to_its_machines(whole):
    hours = whole.assign(machine=whole["point_id"].str[:3]).groupby(["machine", "date", "point_id"])["running_h"].sum()
    spread = hours.groupby(["machine", "date"]).agg(lambda h: h.max() - h.min())
    assert (spread < 1e-9).all()
    assert hours.between(0, 25).all()
