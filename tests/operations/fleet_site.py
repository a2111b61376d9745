"""A simulated fleet as a site on disk, its summaries and events already in the store."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pyarrow as pa

from condlube.operations.definition import load
from condlube.operations.files import csv_text
from condlube.simulation.fleet import Fleet
from condlube.store.store import Store

NIGHTLY = """
[site]
name = "Simulated fleet"
zone = "UTC"
[files]
bearings = "bearings.csv"
greases = "greases.csv"
points = "points.csv"
sources = ["long.toml"]
[night]
workers = {workers}
"""
SOURCE = """
[source]
name = "long"
files = "exports/*.csv"
reader = "long"
history = true
[format]
zone = "UTC"
[columns]
time = "timestamp"
tag = "tag"
value = "value"
"""
BEARINGS = ("bearing_id", "machine_id", "designation", "speed_rpm", "commissioned", "grease_assigned")
GREASES = ("grease_id", "thickener", "base_oil", "viscosity_40_mm2_s")
POINTS = ("point_id", "bearing_id", "tag", "quantity", "unit", "collector")
NOW = datetime(2035, 1, 1, tzinfo=UTC)


def write_fleet_site(folder: Path, fleet: Fleet, workers: int = 1) -> Path:
    """Write definition and register, and commit what is known of the years."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "nightly.toml").write_text(NIGHTLY.format(workers=workers))
    (folder / "long.toml").write_text(SOURCE)
    _write(folder / "bearings.csv", fleet.register.bearings, BEARINGS)
    _write(folder / "greases.csv", fleet.register.greases, GREASES)
    tags = fleet.register.points["point_id"]
    points = fleet.register.points.drop_columns("tag").append_column("tag", tags)
    _write(folder / "points.csv", points, POINTS)
    definition = load(folder)
    with Store.open(definition.store, definition.ledger).writer() as writer:
        writer.append("summaries", fleet.summaries)
        writer.commit("a simulated fleet", NOW, {"events": fleet.events.to_pylist()})
    return folder


def _write(path: Path, table: pa.Table, columns: Sequence[str]) -> None:
    path.write_text(csv_text(columns, table.select(list(columns)).to_pylist()), encoding="utf-8")
