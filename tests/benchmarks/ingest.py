"""Ingest against the floor: a typed CSV read of the same file and one Parquet write, in the same run.

    python tests/benchmarks/ingest.py [long_time|long_tag|dirty|wide|big] [ROWS]

Writes its exports and its store into a temporary folder. `dirty` has a bad line in every hundred; `big` is ten times
the size. Prints seconds, the ratio to the floor, and the peak memory of the ingest, which runs in its own process.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet

ROWS = 4_320_000
TAGS = [f"P-{k // 3:05}.DE.{('TEMP', 'VEL', 'US')[k % 3]}" for k in range(30_000)]
KINDS = ("long_time", "long_tag", "dirty", "wide", "big")
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


def floor(path: Path, folder: Path, wide: bool) -> tuple[float, int]:
    """Seconds of the typed read and of one Parquet write, and the rows."""
    if wide:
        types = {"timestamp": pa.timestamp("us")} | dict.fromkeys(TAGS[:WIDE_TAGS], pa.float64())
    else:
        types = {
            "timestamp": pa.timestamp("us", "UTC"),
            "tag": pa.string(),
            "value": pa.float64(),
            "quality": pa.string(),
        }
    begin = time.perf_counter()
    table = csv.read_csv(path, convert_options=csv.ConvertOptions(column_types=types))
    parquet.write_table(table, folder / "floor.parquet")
    return time.perf_counter() - begin, table.num_rows


def ingest_once(path: Path, folder: Path) -> None:
    """The ingest itself; prints seconds, the account and the peak memory."""
    import resource

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
    begin = time.perf_counter()
    with Store.open(folder / "store").writer() as writer:
        report = ingest(
            SimpleNamespace(folder=folder, sources=(source,)), register, writer, datetime(2026, 12, 1, tzinfo=UTC)
        )
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{seconds:.2f} {peak:.2f} {report.lines} {report.stored} {report.duplicate} {report.rejected}")


def main() -> None:
    if sys.argv[1:2] == ["run"]:
        ingest_once(Path(sys.argv[2]), Path(sys.argv[3]))
        return
    kind = sys.argv[1] if len(sys.argv) > 1 else "long_time"
    rows = int(sys.argv[2]) if len(sys.argv) > 2 else ROWS * (10 if kind == "big" else 1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / f"{kind}.csv"
        if kind == "wide":
            write_wide(path, rows)
        else:
            write_long(path, rows, kind == "long_tag", 100 if kind == "dirty" else 0)
        print(f"{kind}: {path.stat().st_size / 1e6:.0f} MB")
        seconds = None
        if kind not in ("dirty", "big"):
            seconds, read = floor(path, folder, kind == "wide")
            print(f"floor: {seconds:.2f} s for {read:,} rows")
        command = [sys.executable, __file__, "run", str(path), str(folder)]
        out = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
        ratio = f", {float(out[0]) / seconds:.2f} times the floor" if seconds else ""
        print(f"ingest: {out[0]} s{ratio}, peak {out[1]} GB")
        print(f"{int(out[2]):,} lines = {int(out[3]):,} stored + {int(out[4]):,} duplicate + {int(out[5]):,} rejected")


if __name__ == "__main__":
    main()
