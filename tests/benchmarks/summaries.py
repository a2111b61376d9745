"""Speed of the daily summaries: ``python tests/benchmarks/summaries.py [machines]``.

A night of many machines with three signals each, read hourly, without and with the memory of earlier summaries; a
history of 550 days; and the same night as a plain pandas group-by of medians, for a ratio in one run.
"""

import sys
import time
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.manipulation.summarise import summarise
from condlube.policy.parse import parse_policy
from condlube.schema.tables import TABLES

POLICY = parse_policy((Path(__file__).parents[2] / "condlube/policy/default.toml").read_text(encoding="utf-8"), "")
ZONE = ZoneInfo("UTC")
FIRST = date(2024, 1, 1)
LEVELS = {"ultrasound": 22.0, "velocity": 1.4, "temperature": 60.0}


def table(name, **columns):
    return pd.DataFrame(columns).reindex(columns=TABLES[name].columns)


def fleet(machines, days):
    """Readings, points and bearings of machines with one bearing each."""
    names = [f"M{k:05d}" for k in range(machines)]
    quantity = list(LEVELS) * machines
    owner = np.repeat(names, len(LEVELS))
    points = table("points", point_id=[f"{o}.{q}" for o, q in zip(owner, quantity, strict=True)], bearing_id=owner,
                   quantity=quantity, sampling="continuous")  # fmt: skip
    bearings = table("bearings", bearing_id=names, machine_id=names, speed_rpm=1480.0)
    when = pd.date_range(pd.Timestamp(FIRST, tz="UTC"), periods=24 * days, freq="1h", unit="us")
    level = np.repeat([LEVELS[q] for q in quantity], len(when))
    value = level * np.exp(np.random.default_rng(1).normal(0, 0.03, len(level)))
    readings = pd.DataFrame({"point_id": points["point_id"].repeat(len(when)).to_numpy(), "value": value})
    readings["time"] = np.tile(when, len(points))
    readings["time"] = readings["time"].astype("datetime64[us, UTC]")
    readings["known_at"] = readings["time"] + pd.Timedelta(hours=6)
    return readings.assign(quality="good"), points, bearings


def timed(what, function):
    wall, cpu = time.perf_counter(), time.process_time()
    found = function()
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    print(f"{what:55s} {wall:7.2f} s wall {cpu:7.2f} s cpu {len(found):9,d} rows")
    return found


def main(machines):
    days = [FIRST + timedelta(days=k) for k in range(550)]
    small = fleet(3, 3)
    timed("first call (compiles, or loads what is cached)", lambda: summarise(*small, days[1:3], ZONE, POLICY))
    night = fleet(machines, 2)
    kept = timed(f"night, {machines:,d} machines x 3 signals", lambda: summarise(*night, [days[1]], ZONE, POLICY))
    back = POLICY.summary.memory_days
    earlier = pd.concat([kept.assign(date=kept["date"] - pd.Timedelta(days=k + 1)) for k in range(back)])
    timed(f"the same with {back} days of memory", lambda: summarise(*night, [days[1]], ZONE, POLICY, earlier))
    timed("the same day, pandas group-by of medians alone", lambda: plain(night[0]))
    long = fleet(100, 550)
    timed("history, 300 points x 550 days", lambda: summarise(*long, days, ZONE, POLICY))


def plain(readings):
    day = readings["time"].dt.normalize()
    today = readings[day == day.max()]
    return today.groupby("point_id")["value"].agg(["median", "size", lambda v: (v - v.median()).abs().median()])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
