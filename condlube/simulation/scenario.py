"""A plant through its history: readings of every point, events and the truth, all from one description."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import numpy as np

from condlube.simulation import faults, instruments, operating, signals
from condlube.simulation.greasing import Greasing, greasing_events, greasings, intervals_used
from condlube.simulation.lubrication import grease_life, life_since
from condlube.simulation.operating import Operation
from condlube.simulation.plant import Plant
from condlube.simulation.signals import Deviations, Healthy
from condlube.simulation.timeline import BoolArray, FloatArray, Timeline, lagged

PLACES = ("fault", "points", "collector", "quantity", "from", "until")
"""What in an entry of ``instruments`` says where and when; the rest are sizes."""
SHORTEST_LIFE = 1.4
SPHERICAL_DB = 3.0
"""A spherical roller bearing is the louder by some dB."""


@dataclass(frozen=True)
class History:
    """What happened: true hourly readings by point (canonical unit, NaN where none), event rows and truth rows."""

    timeline: Timeline
    readings: Mapping[str, FloatArray]
    events: list[dict[str, Any]]
    truth: list[dict[str, Any]]


def simulate(plant: Plant, rng: np.random.Generator) -> History:
    """The whole history of a plant.

    Every machine and bearing draws from a generator of its own, made from ``rng`` and its name, so that changing one
    leaves the others as they were.
    """
    settings, zone = plant.settings, plant.register.site.zone
    timeline = Timeline.of(settings["first"], settings["last"], zone)
    root = int(rng.integers(2**62))

    def own(name: str) -> np.random.Generator:
        return np.random.default_rng([root, crc32(name.encode())])

    hall = operating.ambient(own("hall"), timeline, **settings["ambient"]) + _heat(plant, timeline)
    operations = {m: _operate(plant, own(m), timeline, m) for m in plant.machines}
    points = _points_by_owner(plant)
    readings: dict[str, FloatArray] = {}
    events: list[dict[str, Any]] = []
    for machine_id, operation in operations.items():
        for point in points.get(machine_id, []):
            readings[point["point_id"]] = _machine_level(point["quantity"], operation, plant, machine_id)
    for bearing in plant.register.bearings.to_pylist():
        name = bearing["bearing_id"]
        generator = own(name)
        machine = plant.machines[bearing["machine_id"]]
        operation = _at_shaft(operations[machine.machine_id], machine.speed_rpm, bearing)
        healthy = _healthy(generator, bearing, plant.fitted[name].temperature_rise_k)
        quantities = {p["quantity"] for p in points.get(name, []) + points.get(machine.machine_id, [])}
        used = intervals_used(bearing, operation, healthy, hall, quantities)
        given = greasings(plant, generator, timeline, bearing, used)
        deviations = _deviations(plant, timeline, name, given) + _film(generator, used, given)
        for point in points.get(name, []):
            signal = signals.level(point["quantity"], generator, operation, healthy, deviations, hall)
            readings[point["point_id"]] = _recorded(plant, timeline, point, signal)
        levels = next((readings[p["point_id"]] for p in points.get(name, []) if p["quantity"] == "ultrasound"), None)
        events += greasing_events(timeline, bearing, given, levels)
    for point in points.get("", []):
        readings[point["point_id"]] = hall
    events += _other_events(plant, timeline)
    events.sort(key=lambda row: (row["time"], row["bearing_id"]))
    return History(timeline, readings, events, _truth(plant))


def _points_by_owner(plant: Plant) -> dict[str, list[dict[str, Any]]]:
    """Points by the bearing they belong to, else by machine; plant-wide ones under the empty name."""
    owned: dict[str, list[dict[str, Any]]] = {}
    for point in plant.register.points.to_pylist():
        owned.setdefault(point["bearing_id"] or point["machine_id"] or "", []).append(point)
    return owned


def _heat(plant: Plant, timeline: Timeline) -> FloatArray:
    added = np.zeros(timeline.n)
    for situation in plant.situations:
        for spell in situation.get("heat", []):
            added += spell["add_k"] * timeline.between(spell["from"], spell["until"])
    return lagged(added, 8.0)


def _operate(plant: Plant, rng: np.random.Generator, timeline: Timeline, machine_id: str) -> Operation:
    machine = plant.machines[machine_id]
    profile = operating.PROFILES[machine.profile]
    operation = profile(rng, timeline, machine.speed_rpm, machine.speed_low_rpm, machine.load_pct)
    for situation in plant.situations:
        for held in situation.get("operation", []):
            if held["machine"] == machine_id:
                span = timeline.between(held["from"], held["until"])
                operation = operating.at_speed(operation, span, held["speed_rpm"], held["load_pct"])
    for shutdown in plant.settings.get("shutdown", []):
        operation = operation.stopped(timeline.between(shutdown["from"], shutdown["until"]))
    return operation.stopped(_cleaning(plant.settings["cleaning"], timeline))


def _cleaning(cleaning: Mapping[str, Any], timeline: Timeline) -> BoolArray:
    since = timeline.day - (cleaning["first"].toordinal() - timeline.first.toordinal())
    hour = timeline.hour_of_day - cleaning["from_hour"]
    return np.asarray((since % cleaning["every_days"] == 0) & (hour >= 0) & (hour < cleaning["hours"]))


def _at_shaft(operation: Operation, machine_rpm: float, bearing: Mapping[str, Any]) -> Operation:
    """The operation as the bearing's own shaft sees it: behind a belt or a gear it turns at another speed."""
    return Operation(operation.running, operation.speed_rpm * (bearing["speed_rpm"] / machine_rpm), operation.load_pct)


def _healthy(rng: np.random.Generator, bearing: Mapping[str, Any], rise_k: float) -> Healthy:
    pace = np.log2(max(bearing["speed_rpm"], 30.0) / 1500.0)
    louder = SPHERICAL_DB if bearing["bearing_type"] == "spherical_roller" else 0.0
    return Healthy(
        nominal_rpm=bearing["speed_rpm"],
        ultrasound_db=max(22.0 + louder + 6.0 * pace, 8.0) + rng.normal(0.0, 1.5),
        acceleration_g=0.6 * 2.0 ** max(pace, -3.0) * np.exp(rng.normal(0.0, 0.2)),
        velocity_mm_s=1.3 * np.exp(rng.normal(0.0, 0.15)),
        temperature_rise_k=rise_k,
    )


def _machine_level(quantity: str, operation: Operation, plant: Plant, machine_id: str) -> FloatArray:
    if quantity == "speed":
        return operation.speed_rpm
    bearings = plant.register.bearings
    power = dict(zip(bearings["machine_id"].to_pylist(), bearings["power_kw"].to_pylist(), strict=True))[machine_id]
    return operation.current_a(power)


def _deviations(plant: Plant, timeline: Timeline, bearing_id: str, given: list[Greasing]) -> Deviations:
    hours = timeline.hours
    total = Deviations()
    for greasing in given:
        if 0 < greasing.hour < timeline.n and greasing.warm_up_k > 0:
            total = total + faults.warm_up(hours, greasing.hour, greasing.warm_up_k)
    for situation in plant.situations:
        if bearing_id in situation["bearings"]:
            for effect in situation.get("effects", []):
                total = total + _effect(timeline, effect)
    return total


def _film(rng: np.random.Generator, used: FloatArray, given: list[Greasing]) -> Deviations:
    """The grease as it ages. Lives are drawn; none ends within the interval unless a situation says so."""
    if not given:
        return Deviations()
    life = max(float(grease_life(rng, 1)[0]), SHORTEST_LIFE)
    return faults.depletion(life_since(used, np.array([greasing.hour for greasing in given])) / life)


def _effect(timeline: Timeline, effect: Mapping[str, Any]) -> Deviations:
    """One entry of ``effects``: the function of that name, its onset on the clock of the history, and its sizes."""
    sizes = {k: v for k, v in effect.items() if k not in ("fault", "onset", "greased", "until")}
    if "greased" in effect:
        sizes["greased_h"] = [timeline.hour_at(when) for when in effect["greased"]]
    made = faults.FAULTS[effect["fault"]](timeline.hours, timeline.hour_at(effect["onset"]), **sizes)
    return made.only(timeline.hours < timeline.hour_at(effect["until"])) if "until" in effect else made


def _recorded(plant: Plant, timeline: Timeline, point: Mapping[str, Any], values: FloatArray) -> FloatArray:
    for situation in plant.situations:
        for entry in situation.get("instruments", []):
            if _concerns(entry, point):
                sizes = {k: v for k, v in entry.items() if k not in PLACES}
                begin = int(timeline.hour_at(entry["from"]))
                end = int(timeline.hour_at(entry["until"])) if "until" in entry else timeline.n
                values = instruments.FAULTS[entry["fault"]](values, begin, end, **sizes)
    if point["valid_from"] is not None:
        values = np.where(timeline.hours < timeline.hour_at(point["valid_from"]), np.nan, values)
    return values


def _concerns(entry: Mapping[str, Any], point: Mapping[str, Any]) -> bool:
    if "points" in entry:
        return point["point_id"] in entry["points"]
    return bool(
        point["collector"] == entry["collector"] and point["quantity"] == entry.get("quantity", point["quantity"])
    )


def _other_events(plant: Plant, timeline: Timeline) -> list[dict[str, Any]]:
    """What the situations say was done and found, greasings apart."""
    rows = []
    for situation in plant.situations:
        for event in situation.get("events", []):
            if event["kind"] != "relubrication":
                for bearing_id in situation["bearings"]:
                    rows.append({"who": plant.settings["practice"]["people"][0], **event, "bearing_id": bearing_id})
    return rows


def _truth(plant: Plant) -> list[dict[str, Any]]:
    return [
        {
            "situation": situation["name"],
            "bearing_id": bearing_id,
            "first_night": expected["first"],
            "last_night": expected["last"],
            "call": expected["call"],
            "look_at": expected.get("look_at", ""),
            "condition_status": expected.get("status", ""),
            "why": situation["why"],
        }
        for situation in plant.situations
        for bearing_id in situation["bearings"]
        for expected in situation.get("expect", [])
    ]
