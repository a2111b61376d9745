"""How fast a store reads after upkeep, and what upkeep needs.

    python tests/benchmarks/store.py FOLDER [--bearings 10000] [--months 12] [--evidence 7]

Builds a store of generated nights in FOLDER (kept for the next call), keeps it up, and measures in fresh processes,
after their imports: one bearing's year of evidence and of decisions, one night's queue, one decision with its evidence.
To reach (blueprint, section 4): year of evidence and queue under 0.2 s, upkeep under 1.5 GB.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa

from condlube.schema.arrow import arrow_schema
from condlube.schema.tables import TABLES
from condlube.store.store import Store
from condlube.store.upkeep import keep_up

LAST = date(2026, 6, 14)
NOW = datetime(2026, 6, 15, 6, tzinfo=UTC)
BEARING = "PLANT-NORTH.AREA-01.UNIT-022.PUMP-00777.DE"
QUEUE = ["bearing_id", "call", "second_action", "look_at", "basis", "guards", "reason", "margin", "x", "interval_h",
         "due_date", "grease_id", "grease_g", "condition_status", "p_starved", "p_damaged", "failed"]  # fmt: skip


def bearings(count: int) -> list[str]:
    return [f"PLANT-NORTH.AREA-01.UNIT-{k % 97:03}.PUMP-{k:05}.DE" for k in range(count - 1)] + [BEARING]


def night_table(table: str, night: date, ids: list[str], rows: int, rng: np.random.Generator) -> pa.Table:
    """One night of decisions or evidence, every column filled with values of the size that real ones have."""
    count = len(ids) * rows
    arrays = []
    for field, column in zip(arrow_schema(table), TABLES[table], strict=True):
        if field.name == "bearing_id":
            values = pa.array(np.repeat(ids, rows))
        elif field.name == "ordinal":
            values = pa.array(np.tile(np.arange(rows), len(ids)))
        elif field.name == "run_id":
            values = pa.array([f"{night:%Y%m%d}0badcafe"] * count)
        elif field.type == pa.date32():
            values = pa.array([night] * count)
        elif pa.types.is_timestamp(field.type):
            values = pa.array(np.full(count, np.datetime64(night, "us")), field.type)
        elif field.type == pa.string():
            words = np.array(column.choices or [f"{field.name} word {k}" for k in range(12)])
            values = pa.array(words[rng.integers(len(words), size=count)])
        elif field.type == pa.float64():
            values = pa.array(np.round(rng.normal(size=count) * 2**20) / 2**20)
        else:
            values = pa.array(rng.integers(9, size=count))
        arrays.append(values.cast(field.type))
    return pa.table(arrays, schema=arrow_schema(table))


def build(store: Store, count: int, months: int, rows: int) -> None:
    """The nights that the store does not hold yet, one commit each, as the nightly batch would write them."""
    ids, rng = bearings(count), np.random.default_rng(0)
    first = (LAST.replace(day=1) - timedelta(days=30 * months)).replace(day=1)
    with store.writer() as writer:
        done = {row["night"] for row in writer.ledger_rows("runs")}
        for night in (first + timedelta(days=k) for k in range((LAST - first).days + 1)):
            if night in done:
                continue
            writer.append("decisions", night_table("decisions", night, ids, 1, rng))
            writer.append("evidence", night_table("evidence", night, ids, rows, rng))
            writer.commit(f"night {night}", NOW, {"runs": [{"run_id": f"{night:%Y%m%d}0badcafe", "night": night}]})


def year_of_evidence(store: Store) -> int:
    year = [("bearing_id", "=", BEARING), ("night", ">", LAST - timedelta(days=365))]
    return store.snapshot().read("evidence", None, year).num_rows


def queue_tonight(store: Store) -> int:
    return store.snapshot().read("decisions", QUEUE, [("night", "=", LAST)]).num_rows


def queue_of_a_closed_month(store: Store) -> int:
    return store.snapshot().read("decisions", QUEUE, [("night", "=", LAST - timedelta(days=35))]).num_rows


def year_of_decisions(store: Store) -> int:
    year = [("bearing_id", "=", BEARING), ("night", ">", LAST - timedelta(days=365))]
    return store.snapshot().read("decisions", QUEUE, year).num_rows


def explain(store: Store) -> int:
    snapshot = store.snapshot()
    run = snapshot.ledger_rows("runs", {"night": LAST})[0]["run_id"]
    picked = [("night", "=", LAST), ("bearing_id", "=", BEARING), ("run_id", "=", run)]
    return snapshot.read("decisions", None, picked).num_rows + snapshot.read("evidence", None, picked).num_rows


MEASURED = {
    f.__name__: f for f in (year_of_evidence, queue_tonight, queue_of_a_closed_month, year_of_decisions, explain)
}


def measure(folder: Path, name: str) -> tuple[float, float, float, int]:
    """Seconds of the first call in a fresh process, the best and the median of the next nine, and rows."""
    script = f"import runpy; runpy.run_path({str(Path(__file__))!r})['timed']({str(folder)!r}, {name!r})"
    first, best, usual, rows = json.loads(subprocess.check_output([sys.executable, "-c", script]))
    return first, best, usual, rows


def timed(folder: str, name: str) -> None:
    store, seconds = Store.open(Path(folder)), []
    for _ in range(10):
        began = time.perf_counter()
        rows = MEASURED[name](store)
        seconds.append(time.perf_counter() - began)
    print(json.dumps([seconds[0], min(seconds[1:]), statistics.median(seconds[1:]), rows]))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--bearings", type=int, default=10_000)
    parser.add_argument("--months", type=int, default=12)
    parser.add_argument("--evidence", type=int, default=7)
    given = parser.parse_args()
    store = Store.open(given.folder)
    began = time.perf_counter()
    build(store, given.bearings, given.months, given.evidence)
    print(f"built in {time.perf_counter() - began:.0f} s, {memory():.2f} GB peak", flush=True)
    began = time.perf_counter()
    done = keep_up(store, NOW)
    print(
        f"upkeep: {len(done.ordered)} months of a table in {time.perf_counter() - began:.0f} s, {memory():.2f} GB peak"
    )
    for name in MEASURED:
        first, best, usual, rows = measure(given.folder, name)
        print(f"{name:26} {rows:7} rows  first {first:.3f} s  best {best:.3f} s  median {usual:.3f} s", flush=True)


def memory() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


if __name__ == "__main__":
    main()
