"""The greasings of a plant that follows its intervals, and the entries its people made."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from condlube.lubrication.quantity import relubrication_quantity
from condlube.simulation import signals
from condlube.simulation.lubrication import STANDING_MONTHS, Conditions, greasing_hours, interval_h, life_used
from condlube.simulation.operating import Operation
from condlube.simulation.plant import Plant
from condlube.simulation.signals import Deviations, Healthy
from condlube.simulation.timeline import FloatArray, Timeline


@dataclass(frozen=True)
class Greasing:
    """One greasing: local time and hour of the history, grams, who did it, how much the housing warms."""

    time: datetime
    hour: float
    grease_g: float
    who: str
    warm_up_k: float
    note: str = ""


def dose_g(bearing: Mapping[str, Any]) -> float:
    """Grams due per relubrication: the manual's, else by the handbook."""
    if bearing["manual_quantity_g"] is not None:
        return float(bearing["manual_quantity_g"])
    return float(relubrication_quantity(bearing["outside_diameter_mm"], bearing["width_mm"], bearing["entry"]))


def greasings(
    plant: Plant, rng: np.random.Generator, timeline: Timeline, bearing: Mapping[str, Any], used: FloatArray
) -> list[Greasing]:
    """Regular greasings before and through the history, and those of the situations, in order of time.

    ``used`` is the running total of intervals used up, shape (n,).
    """
    practice = plant.settings["practice"]
    made: list[Greasing] = []
    life = plant.fitted[bearing["bearing_id"]].life_used
    if life > 0:
        low, high = practice["steps"]
        steps = rng.uniform(low, high, 16)
        for hour in greasing_hours(used, life, steps):
            when = _working_time(timeline, float(hour))
            made.append(_greasing(rng, timeline, bearing, practice, when, rng.uniform(*practice["doses"]), {}))
    for situation in plant.situations:
        if bearing["bearing_id"] in situation["bearings"]:
            for event in situation.get("events", []):
                if event["kind"] == "relubrication":
                    made.append(_greasing(rng, timeline, bearing, practice, event["time"], event["dose"], event))
    return sorted(made, key=lambda greasing: greasing.time)


def intervals_used(
    bearing: Mapping[str, Any],
    operation: Operation,
    healthy: Healthy,
    ambient_degc: FloatArray,
    quantities: Collection[str],
) -> FloatArray:
    """Running total of intervals used up, shape (n,).

    ``quantities`` are those measured at the bearing or its machine. As the engine does, the plant counts with the
    register's temperature and speed where none is measured, and every hour where nothing tells that it runs.
    """
    conditions = Conditions(
        bearing["bearing_type"],
        bearing["bore_mm"],
        bearing["contamination"],
        bearing["moisture"],
        bearing["orientation"],
        bearing["manual_interval_h"],
    )
    quiet = np.random.default_rng(0)
    if "temperature" in quantities:
        housing = signals.temperature(quiet, operation, healthy, Deviations(), ambient_degc)
    else:
        housing = np.full(len(ambient_degc), bearing["housing_degc"])
    speed = np.where(operation.running & ("speed" in quantities), operation.speed_rpm, bearing["speed_rpm"])
    running = operation.running if quantities else np.ones_like(operation.running)
    standing = STANDING_MONTHS["exposed" if bearing["outdoors"] or bearing["moisture"] != "dry" else "sheltered"]
    return life_used(interval_h(conditions, speed, housing + bearing["housing_to_ring_k"]), running, standing)


def _working_time(timeline: Timeline, hour: float) -> datetime:
    """The local time of an hour of the history, moved into the next day shift of a working day."""
    local = timeline.instant_at(hour).astimezone(timeline.zone).replace(tzinfo=None)
    local = local.replace(hour=min(max(local.hour, 8), 14), second=0)
    return local + timedelta(days=max(0, 7 - local.weekday()) if local.weekday() >= 5 else 0)


def _greasing(
    rng: np.random.Generator,
    timeline: Timeline,
    bearing: Mapping[str, Any],
    practice: Mapping[str, Any],
    when: datetime,
    dose: float,
    event: Mapping[str, Any],
) -> Greasing:
    grams = dose * dose_g(bearing)
    if bearing["gun_g_per_stroke"] is not None:
        grams = float(np.ceil(grams / bearing["gun_g_per_stroke"] - 1e-9)) * bearing["gun_g_per_stroke"]
    return Greasing(
        time=when,
        hour=timeline.hour_at(when),
        grease_g=round(grams, 1),
        who=str(rng.choice(practice["people"])),
        warm_up_k=event.get("warm_up_k", float(rng.uniform(*practice["warm_up_k"]))),
        note=event.get("note", ""),
    )


def greasing_events(
    timeline: Timeline, bearing: Mapping[str, Any], given: list[Greasing], ultrasound_db: FloatArray | None
) -> list[dict[str, Any]]:
    """Rows of the events file; the level before and after is read where the bearing has ultrasound."""
    rows = []
    for greasing in given:
        row: dict[str, Any] = {
            "time": greasing.time,
            "kind": "relubrication",
            "bearing_id": bearing["bearing_id"],
            "grease_g": greasing.grease_g,
            "grease_id": bearing["grease_in_service"],
            "who": greasing.who,
            "note": greasing.note,
        }
        before = int(greasing.hour)
        if ultrasound_db is not None and 0 <= before < timeline.n - 2:
            row["level_before"] = round(float(ultrasound_db[before]), 1)
            row["level_after"] = round(float(ultrasound_db[before + 2]), 1)
        if bearing["relief"] == "plug":
            row["outlet_open"] = "plug" not in greasing.note
        rows.append(row)
    return rows
