"""Ingest against the floor: a typed CSV read of the same file and one Parquet write, in turns in the same run.

    python tests/benchmarks/ingest.py [long_time|long_tag|few|dirty|wide|big] [--rows ROWS] [--turns 2]

Writes its exports and stores into a temporary folder. `few` has twenty bad lines, `dirty` one in every hundred; their
floor reads the same file without the damage, for no bare read takes it. `big` is ten times the size. Prints seconds,
processor seconds and peak memory of each turn, every one in a process of its own, and the ratios of the best turns.
To reach (blueprint, section 11): within 4 times the floor, under 1.5 GB.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet

ROWS = 4_320_000
TAGS = [f"P-{k // 3:05}.DE.{('TEMP', 'VEL', 'US')[k % 3]}" for k in range(30_000)]
BAD_EVERY = {"few": ROWS // 20, "dirty": 100}
KINDS = ("long_time", "long_tag", "few", "dirty", "wide", "big")
WIDE_TAGS = 2_000


def write_long(path: Path, rows: int, by_tag: bool, bad_every: int) -> None:
    """Lines as `2026-03-01T00:00:00Z,P-00000.DE.TEMP,45.1234,Good`, one every ten minutes for each of 30,000 tags."""
    rng = np.random.default_rng(1)
    tags = TAGS if rows <= ROWS else [f"{tag}.{k}" for k in range(rows // ROWS) for tag in TAGS]
    steps = max(rows // len(tags), 1)
    times = np.datetime_as_string(np.datetime64("2026-03-01") + np.arange(steps) * np.timedelta64(600, "s"), unit="s")
    outer, inner = (tags, times) if by_tag else (times, tags)
    line = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("timestamp,tag,value,quality\n")
        for first in outer:
            values = rng.normal(45, 5, len(inner)).round(4).tolist()
            pairs = [(second, first) if by_tag else (first, second) for second in inner]
            text = [f"{t}Z,{tag},{v},Good\n" for (t, tag), v in zip(pairs, values, strict=True)]
            if bad_every:
                for k in range(-line % bad_every, len(text), bad_every):
                    text[k] = text[k].replace(",Good", ("", ",Good,", ',G"ood', ",???")[k % 4])
                line += len(text)
            file.write("".join(text))


def write_wide(path: Path, rows: int) -> None:
    """A week of 2,000 tags, as many rows as give about ``rows`` cells."""
    rng = np.random.default_rng(1)
    steps = rows // WIDE_TAGS
    times = np.datetime64("2026-03-01") + np.arange(steps) * np.timedelta64(604_800 // steps, "s")
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("timestamp," + ",".join(TAGS[:WIDE_TAGS]) + "\n")
        for t in np.datetime_as_string(times, unit="s"):
            file.write(f"{t}," + ",".join(map(str, rng.normal(45, 5, WIDE_TAGS).round(4).tolist())) + "\n")


def floor_once(path: Path, folder: Path) -> None:
    """The typed read and one Parquet write."""
    if path.stem == "wide":
        types = {"timestamp": pa.timestamp("us")} | dict.fromkeys(TAGS[:WIDE_TAGS], pa.float64())
    else:
        types = {
            "timestamp": pa.timestamp("us", "UTC"),
            "tag": pa.string(),
            "value": pa.float64(),
            "quality": pa.string(),
        }
    with measured():
        table = csv.read_csv(path, convert_options=csv.ConvertOptions(column_types=types))
        parquet.write_table(table, folder / "floor.parquet")
    print(f"{table.num_rows:,} rows")


@contextmanager
def measured() -> Iterator[None]:
    """Print seconds, processor seconds and, in GB, the peak memory of the process."""
    wall, cpu = time.perf_counter(), time.process_time()
    yield
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{time.perf_counter() - wall:.2f} {time.process_time() - cpu:.2f} {peak:.2f}")


def ingest_once(path: Path, folder: Path) -> None:
    """The ingest itself, into an empty store."""
    from condlube.acquisition.definition import parse_source
    from condlube.operations.ingest import ingest
    from condlube.register.model import Register, Site
    from condlube.schema.arrow import arrow_schema, rows_to_table
    from condlube.store.store import Store

    wide = path.stem == "wide"
    tags = TAGS if path.stem != "big" else [f"{tag}.{k}" for k in range(10) for tag in TAGS]
    points = rows_to_table("points", [{"point_id": tag, "tag": tag, "quantity": "temperature"} for tag in sorted(tags)])
    bearings, greases = (arrow_schema(name).empty_table() for name in ("bearings", "greases"))
    register = Register(bearings, greases, points, "", Site("site", ZoneInfo("Europe/Lisbon")))
    roles = 'tag = "tag"\nvalue = "value"\nquality = "quality"\n' if not wide else ""
    text = f'[source]\nname = "s"\nfiles = "{path.name}"\nreader = "{"wide" if wide else "long"}"\nsettle_s = 0\n'
    source = parse_source(text + f'[columns]\ntime = "timestamp"\n{roles}', "s.toml")
    shutil.rmtree(folder / "store", ignore_errors=True)
    with measured(), Store.open(folder / "store").writer() as writer:
        report = ingest(
            SimpleNamespace(folder=folder, sources=(source,)), register, writer, datetime(2026, 12, 1, tzinfo=UTC)
        )
    print(report.text().splitlines()[0])


def turn(what: str, path: Path, folder: Path) -> list[float]:
    """Seconds, processor seconds and peak memory of one turn in its own process."""
    command = [sys.executable, __file__, what, str(path), str(folder)]
    figures, account = subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()
    wall, cpu, peak = map(float, figures.split())
    print(f"{what:7} {wall:7.2f} s, {cpu:7.2f} s of processor, {peak:.2f} GB: {account}", flush=True)
    return [wall, cpu]


def main() -> None:
    if sys.argv[1:2] in (["ingest"], ["floor"]):
        {"ingest": ingest_once, "floor": floor_once}[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]))
        return
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", nargs="?", choices=KINDS, default="long_time")
    parser.add_argument("--rows", type=int)
    parser.add_argument("--turns", type=int, default=2)
    given = parser.parse_args()
    rows = given.rows or ROWS * (10 if given.kind == "big" else 1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = clean = folder / f"{given.kind}.csv"
        if given.kind == "wide":
            write_wide(path, rows)
        else:
            write_long(path, rows, given.kind == "long_tag", BAD_EVERY.get(given.kind, 0))
        if given.kind in BAD_EVERY:
            clean = folder / "clean.csv"
            write_long(clean, rows, by_tag=False, bad_every=0)
        print(f"{given.kind}: {path.stat().st_size / 1e6:.0f} MB")
        floors, ingests = [], []
        for _ in range(given.turns):
            if given.kind != "big":
                floors.append(turn("floor", clean, folder))
            ingests.append(turn("ingest", path, folder))
        if floors:
            ratios = [min(k[figure] for k in ingests) / min(k[figure] for k in floors) for figure in (0, 1)]
            print(f"ingest / floor: {ratios[0]:.2f} by the clock, {ratios[1]:.2f} by the processor")


if __name__ == "__main__":
    main()
