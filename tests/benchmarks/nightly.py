"""A whole night of a large plant, from the export on disk to the committed decisions, stage by stage.

    python tests/benchmarks/nightly.py [--bearings 10000] [--days 180] [--step-min 10]

Writes a plant of so many bearings with ultrasound, velocity and temperature each into a temporary folder: its summaries
of the days before straight into the store, the last day as an export. The night before is decided first, untimed: it
learns every reference. Prints seconds, processor seconds and peak memory. To reach (blueprint, section 11): 10,000
bearings with 4.3 million new readings in under 20 s and under 2 GB on two cores.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

import condlube.operations.night as night
import condlube.operations.nightly as batch
from condlube.schema.arrow import from_frame
from condlube.store.store import Store

LAST = date(2026, 6, 30)
NOW = datetime(2026, 7, 1, 6, 30, tzinfo=UTC)
LEVELS = {"ultrasound": ("dB", 30.0, 0.5), "velocity": ("mm/s rms", 1.5, 0.05), "temperature": ("degC", 58.0, 0.8)}
DEFINITION = """
[site]
name = "Large plant"
zone = "UTC"
assumed_last_greasing = 2026-01-01
[files]
bearings = "bearings.csv"
points = "points.csv"
sources = ["historian.toml"]
[night]
batch = 2500
"""
SOURCE = """
[source]
name = "historian"
files = "exports/*.csv"
reader = "long"
history = true
settle_s = 0
[format]
zone = "UTC"
[columns]
time = "timestamp"
tag = "tag"
value = "value"
quality = "quality"
"""


def write_site(folder: Path, bearings: int, step_min: int) -> list[str]:
    """The site's files with the export of its last day; gives its points."""
    rng = np.random.default_rng(1)
    names = [f"B{k:06}" for k in range(bearings)]
    rows = "".join(f"{n},M{k // 4:05},R{k // 400},6313,1480,2020-01-01\n" for k, n in enumerate(names))
    head = "bearing_id,machine_id,route,designation,speed_rpm,commissioned\n"
    (folder / "bearings.csv").write_text(head + rows)
    points = [(f"{n}.{q}", n, q, unit) for n in names for q, (unit, _, _) in LEVELS.items()]
    lines = "".join(f"{p},{n},{p},{q},{unit},C{int(n[1:]) // 64}\n" for p, n, q, unit in points)
    (folder / "points.csv").write_text("point_id,bearing_id,tag,quantity,unit,collector\n" + lines)
    (folder / "nightly.toml").write_text(DEFINITION)
    (folder / "historian.toml").write_text(SOURCE)
    (folder / "exports").mkdir()
    export = folder / "exports" / "day.csv"
    with export.open("w") as file:
        file.write("timestamp,tag,value,quality\n")
        for minute in range(0, 24 * 60, step_min):
            stamp = f"{LAST}T{minute // 60:02}:{minute % 60:02}:00Z"
            noise = rng.standard_normal(len(points))
            values = [f"{LEVELS[q][1] + LEVELS[q][2] * z:.3f}" for (_, _, q, _), z in zip(points, noise, strict=True)]
            file.write("".join(f"{stamp},{p[0]},{v},Good\n" for p, v in zip(points, values, strict=True)))
    os.utime(export, (NOW.timestamp(), NOW.timestamp()))
    return [p[0] for p in points]


def summaries(points: list[str], day: date, rng: np.random.Generator) -> pa.Table:
    """One day of every point: running all day, sound."""
    quantity = np.array([p.split(".")[1] for p in points])
    level = np.select([quantity == q for q in LEVELS], [v[1] for v in LEVELS.values()])
    noise = np.select([quantity == q for q in LEVELS], [v[2] for v in LEVELS.values()])
    median = level + noise / 4 * rng.standard_normal(len(points))
    last = datetime(day.year, day.month, day.day, 23, 50, tzinfo=UTC)
    octiles = np.full(len(points), None, object)
    for k in np.flatnonzero(quantity == "temperature"):
        octiles[k] = [median[k]] * 8
    frame = pd.DataFrame({
        "point_id": points, "date": pd.Timestamp(day), "cell": 0, "known_at": last + timedelta(hours=6), "n": 144,
        "n_total": 144, "running_h": 24.0, "median": median, "spread": noise, "p10": median - 1.28 * noise,
        "p90": median + 1.28 * noise, "octiles": octiles, "coverage": 1.0, "fault": "", "speed_rpm": 1480.0,
        "load": np.nan, "ambient_degc": np.nan, "speed_lagged_rpm": 1480.0, "load_lagged": np.nan,
        "ambient_lagged_degc": np.nan, "starts": 0, "last_value": median, "last_time": last,
    })  # fmt: skip
    return from_frame("summaries", frame)


def timed(module: Any, name: str, spent: dict[str, list[float]]) -> None:
    """Let a function of a module note what it takes."""
    plain: Callable[..., Any] = getattr(module, name)

    def run(*args: Any, **named: Any) -> Any:
        wall, cpu = time.perf_counter(), time.process_time()
        made = plain(*args, **named)
        one = spent.setdefault(name, [0.0, 0.0])
        one[0] += time.perf_counter() - wall
        one[1] += time.process_time() - cpu
        return made

    setattr(module, name, run)


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--bearings", type=int, default=10_000)
    arguments.add_argument("--days", type=int, default=180)
    arguments.add_argument("--step-min", type=int, default=10)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        points = write_site(folder, given.bearings, given.step_min)
        rng = np.random.default_rng(2)
        with Store.open(folder / "store").writer() as writer:
            days = [LAST - timedelta(days=k) for k in range(given.days, 0, -1)]
            for month in sorted({(d.year, d.month) for d in days}):
                of_month = [d for d in days if (d.year, d.month) == month]
                writer.append("summaries", pa.concat_tables([summaries(points, d, rng) for d in of_month]))
            writer.commit("benchmark", NOW, {"events": [], "reviews": []})
        export = folder / "exports" / "day.csv"
        lines = export.read_bytes()
        export.write_bytes(b"timestamp,tag,value,quality\n" + f"{days[-1]}T23:50:00Z,{points[0]},30.0,Good\n".encode())
        os.utime(export, (NOW.timestamp(), NOW.timestamp()))
        batch.nightly(folder, NOW, [days[-1]])
        first = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        (folder / "exports" / "new.csv").write_bytes(lines)
        os.utime(folder / "exports" / "new.csv", (NOW.timestamp(), NOW.timestamp()))
        del lines

        spent: dict[str, list[float]] = {}
        for stage in ("check", "ingest", "write_morning", "run_night"):
            timed(batch, stage, spent)
        for stage in ("summarise_fresh", "compare", "decide_batch", "night_summaries"):
            timed(night, stage, spent)
        timed(batch, "nightly", spent)
        made = batch.nightly(folder, NOW, [LAST])
        for stage, (wall, cpu) in spent.items():
            print(f"{stage:16} {wall:7.1f} s wall {cpu:7.1f} s processor")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"{given.bearings} bearings, {made.ingested.files[-1].lines:,} lines; calls {made.mornings[-1].counts}")
        print(f"peak memory {peak:.2f} GB (learning night {first:.2f} GB)")


if __name__ == "__main__":
    main()
