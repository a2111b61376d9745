"""How fast decisions are made: the kernel in bearing-nights per second, and a night of a fleet step by step.

Run as a script: python tests/benchmarks/decision.py [BEARINGS]
"""

import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.advisory.decide import decide
from condlube.assessment import kernel
from condlube.assessment.life import life
from condlube.assessment.rules import CONTEXT, costs, rules
from condlube.assessment.sources import POSITION, SOURCES, tables
from condlube.policy.parse import parse_policy
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import rows_to_table

AS_OF = datetime(2025, 6, 2, tzinfo=UTC)
SITE = Site("plant", ZoneInfo("UTC"), None)
NIGHTS = 1_000_000


def timed(what: str, function: Callable[[], Any], per: int, repeats: int = 5) -> Any:
    """Best of several runs in processor time of this process."""
    best, result = float("inf"), None
    for _ in range(repeats):
        start = time.process_time()
        result = function()
        best = min(best, time.process_time() - start)
    print(f"{what:<38}{best:9.3f} s{per / best / 1e6:10.2f} M/s")
    return result


def kernel_speed(policy: Any, rng: np.random.Generator) -> None:
    x = rng.uniform(0, 2, NIGHTS)
    column = dict.fromkeys(CONTEXT, np.ones(NIGHTS)) | {
        "x": x, "x_since": x, "running_h": x * 4000, "interval_h": np.full(NIGHTS, 4000.0), "days": x * 170,
        "overfilled_added": np.full(NIGHTS, 0.02), "damaged": np.full(NIGHTS, 0.003),
        "machine_fault": np.full(NIGHTS, 0.008), "instrument_fault": np.full(NIGHTS, 0.005),
    }  # fmt: skip
    context = np.stack([column[name] for name in CONTEXT], axis=1)
    values = np.full((NIGHTS, len(SOURCES)), np.nan)
    for source, middle, spread in (("ultrasound", 1, 3), ("acceleration", 1, 3), ("velocity", 1, 0.2),
                                   ("temperature", 0, 3)):  # fmt: skip
        values[:, POSITION[source]] = rng.normal(middle, spread, NIGHTS)
    arguments = context, values, tables(policy), rules(policy), costs(policy)
    kernel.assess_all(*arguments)
    timed("assess_all, 4 signals, one core", lambda: kernel.assess_all(*arguments), NIGHTS)


def fleet_speed(policy: Any, rng: np.random.Generator, count: int) -> None:
    names = [f"B{k:06}" for k in range(count)]
    lines = ["bearing_id,designation,speed_rpm,commissioned,grease_assigned,route"]
    lines += [f"{name},6313,1480,2023-01-01,alpha,R{k % 200}" for k, name in enumerate(names)]
    greases = "grease_id,thickener,base_oil,viscosity_40_mm2_s,viscosity_100_mm2_s,nlgi\nalpha,lithium,mineral,100,11,2"
    points = ["point_id,bearing_id,tag,quantity,unit"]
    units = {"ultrasound": "dB", "velocity": "mm/s", "temperature": "degC"}
    points += [f"{name}.{q},{name},{name}.{q},{q},{unit}" for name in names for q, unit in units.items()]
    register = parse_register(Text("b", "\n".join(lines)), Text("g", greases), Text("p", "\n".join(points)), SITE)
    bearings, grease, point = (t.to_pandas() for t in (register.bearings, register.greases, register.points))
    rows = pd.DataFrame({"point_id": [f"{n}.{q}" for n in names for q in units], "bearing_id": np.repeat(names, 3),
                         "quantity": list(units) * count})  # fmt: skip
    none = rows_to_table("deviations", []).to_pandas()
    rows = pd.concat([none, rows]).assign(
        status="assessed", reason="", deviation=np.tile([0.0, 1.0, 0.0], count) + rng.normal(0, 0.3, 3 * count),
        observed=1.0, expected=1.0, unit="dB", reference_spread=1.0, growth=0.0, onset="none", share=0.0,
        response="unknown", level_now=30.0, level_time=pd.Timestamp(AS_OF) - pd.Timedelta(hours=1), nights_over=3,
        sound_nights=3, slope=0.1, slope_low=-0.1, slope_high=0.3, coverage=1.0, chart=False,
    )  # fmt: skip
    events = pd.DataFrame({"event_id": names, "bearing_id": names, "kind": "relubrication",
                           "time": [AS_OF - timedelta(days=int(d)) for d in rng.integers(5, 300, count)]})  # fmt: skip
    events = pd.concat([rows_to_table("events", []).to_pandas(), events])
    days = 30
    usage = pd.DataFrame({
        "point_id": np.repeat([f"{n}.temperature" for n in names], days), "cell": 0, "running_h": 24.0,
        "date": [date(2025, 5, 3) + timedelta(days=k) for k in range(days)] * count, "speed_rpm": 1480.0,
        "octiles": [np.linspace(50, 62, 8)] * (days * count),
    })  # fmt: skip
    reviews = rows_to_table("reviews", []).to_pandas()
    used = timed(f"life, {days} days of usage", lambda: life(
        bearings, grease, point, usage, events, rows, SITE, policy, AS_OF), count, 2)  # fmt: skip
    made = timed("decide", lambda: decide(
        bearings, grease, events, used, rows, reviews, SITE, policy, AS_OF), count, 2)  # fmt: skip
    print(made.decisions["call"].value_counts().to_dict(), len(made.evidence), "evidence rows")


if __name__ == "__main__":
    default = parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")
    kernel_speed(default, np.random.default_rng(1))
    fleet_speed(default, np.random.default_rng(2), int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
