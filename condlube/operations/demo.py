"""The demo plant: an invented site with its register, eighteen months of exports, and the truth beside them."""

from __future__ import annotations

import shutil
import tomllib
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from condlube.operations.files import csv_text, write_whole
from condlube.operations.shipped import shipped
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.simulation.plant import Plant, parse_plant
from condlube.simulation.scenario import simulate
from condlube.simulation.writeout import export_files

EVENT_COLUMNS = (
    "time", "kind", "bearing_id", "grease_g", "grease_id", "level_before", "level_after", "outlet_open", "finding",
    "failure_mode", "lubrication_related", "who", "note",
)  # fmt: skip
TRUTH_COLUMNS = (
    "situation", "bearing_id", "first_night", "last_night", "call", "look_at", "condition_status", "why",
)  # fmt: skip


def lay_site(folder: Path) -> None:
    """Write the demo site's definition and register into ``folder``, without a history: no export, no event.

    Existing files of these names are replaced.
    """
    shutil.copytree(description() / "site", folder, dirs_exist_ok=True)
    write_whole(folder / "register" / "events.csv", csv_text(EVENT_COLUMNS, []))


def write_history(folder: Path) -> None:
    """Write the events and exports of the demo site and ``truth.csv`` into ``folder``.

    The files are the same on every machine: dates and seed are fixed. Existing files of these names are replaced.
    """
    plant = read_plant(description())
    rng = np.random.default_rng(plant.settings["seed"])
    history = simulate(plant, rng)
    events = [{**event, "time": event["time"].isoformat(timespec="minutes")} for event in history.events]
    write_whole(folder / "register" / "events.csv", csv_text(EVENT_COLUMNS, events))
    write_whole(folder / "truth.csv", csv_text(TRUTH_COLUMNS, history.truth))
    exports = folder / "exports"
    exports.mkdir(exist_ok=True)
    for export in export_files(plant, history, rng):
        (exports / export.name).write_bytes(export.data())


def read_plant(source: Path) -> Plant:
    """The plant that the description folder tells of."""

    def text(name: str) -> Text:
        return Text(name, (source / name).read_text(encoding="utf-8"))

    site = tomllib.loads(text("site/nightly.toml").text)["site"]
    register = parse_register(
        text("site/register/bearings.csv"),
        text("site/register/greases.csv"),
        text("site/register/points.csv"),
        Site(site["name"], ZoneInfo(site["zone"]), site["assumed_last_greasing"]),
    )
    return parse_plant(
        register, text("plant.toml"), text("machines.csv"), text("bearings.csv"), text("situations.toml")
    )


def demo_nights() -> tuple[date, date]:
    """First and last of the nights that the demo runs."""
    settings = tomllib.loads((description() / "plant.toml").read_text(encoding="utf-8"))
    last: date = settings["last"]
    return date.fromordinal(last.toordinal() - settings["nights"] + 1), last


def description() -> Path:
    """The folder that describes the demo plant."""
    return shipped("datasets") / "demo"
