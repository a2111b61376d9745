from __future__ import annotations

from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from condlube.errors import ConfigurationError
from condlube.register.model import Text
from condlube.simulation.plant import Plant, parse_plant
from condlube.simulation.scenario import History, simulate

# The situations that the demo must hold (the project's list), by the name each has in situations.toml.
REQUIRED = {
    "due_on_time", "extended_quiet", "early_dry", "comes_back_dry", "no_effect", "churning_triple_dose",
    "normal_warm_up", "spalling", "unbalance", "speed_change", "hot_week", "dead_at_zero", "frozen", "collector_gain",
    "sealed_dry", "incompatible_grease", "unknown_history", "blocked_path", "lubricator_empty", "standby",
}  # fmt: skip


def texts(folder: Path, **changed: str) -> list[Text]:
    files = ("plant.toml", "machines.csv", "bearings.csv", "situations.toml")
    return [Text(name, changed.get(name.split(".")[0]) or (folder / name).read_text("utf-8")) for name in files]


def test_size_of_the_demo_plant(demo_plant: Plant):
    bearings = demo_plant.register.bearings.to_pylist()
    assert len(demo_plant.machines) >= 30
    assert len(bearings) >= 90
    assert {b["machine_kind"] for b in bearings} >= {"motor", "pump", "fan", "gearbox", "conveyor"}
    assert {b["bearing_type"] for b in bearings} >= {"deep_groove_ball", "cylindrical_roller", "spherical_roller"}
    assert {b["seal"] for b in bearings} == {"open", "shielded", "sealed"}
    assert {b["drive"] for b in bearings} == {"direct", "inverter", "inverter_protected", "belt"}
    days = (demo_plant.settings["last"] - demo_plant.settings["first"]).days
    assert days >= 545


def test_bearings_see_all_few_or_no_signals(demo_plant: Plant):
    quantities: dict[str, set[tuple[str, str]]] = {}
    for point in demo_plant.register.points.to_pylist():
        quantities.setdefault(point["bearing_id"] or "", set()).add((point["quantity"], point["sampling"]))
    kinds = [frozenset(q for q, _ in found) for found in quantities.values()]
    assert kinds.count(frozenset({"temperature"})) >= 15
    assert sum(kind >= {"ultrasound", "velocity", "temperature"} for kind in kinds) >= 20
    assert sum(("ultrasound", "route") in found for found in quantities.values()) >= 8
    assert len(demo_plant.register.bearings) - len(quantities) + 1 >= 5


def test_every_required_situation_is_there(demo_plant: Plant, demo_history: History):
    assert {s["name"] for s in demo_plant.situations} >= REQUIRED
    assert {row["situation"] for row in demo_history.truth} >= REQUIRED
    nights = date(2026, 10, 18), date(2026, 10, 31)
    for row in demo_history.truth:
        assert nights[0] <= row["first_night"] <= row["last_night"] <= nights[1]
        assert set(row["call"].split()) <= {"grease", "hold", "inspect"}
        assert row["why"]


def test_expectations_of_one_bearing_do_not_overlap(demo_history: History):
    spans: dict[str, list[tuple[date, date]]] = {}
    for row in demo_history.truth:
        spans.setdefault(row["bearing_id"], []).append((row["first_night"], row["last_night"]))
    for found in spans.values():
        found.sort()
        assert all(a[1] < b[0] for a, b in pairwise(found))


def test_readings_of_every_point(demo_plant: Plant, demo_history: History):
    assert set(demo_history.readings) == set(demo_plant.register.points["point_id"].to_pylist())
    for point in demo_plant.register.points.to_pylist():
        values = demo_history.readings[point["point_id"]]
        assert values.shape == (demo_history.timeline.n,)
        if point["valid_from"] is None and "F-4102-FND" not in point["point_id"]:
            assert np.isfinite(values).all()
        if point["quantity"] == "temperature":
            assert 5 < np.nanmin(values) < np.nanmax(values) < 90


def test_greasings_keep_to_the_gun_and_to_working_hours(demo_plant: Plant, demo_history: History):
    guns = {b["bearing_id"]: b["gun_g_per_stroke"] for b in demo_plant.register.bearings.to_pylist()}
    rows = [event for event in demo_history.events if event["kind"] == "relubrication"]
    assert len(rows) > 300
    for event in rows:
        assert event["time"].weekday() < 5
        assert 8 <= event["time"].hour <= 14
        if gun := guns[event["bearing_id"]]:
            strokes = event["grease_g"] / gun
            assert strokes == pytest.approx(round(strokes), abs=0.05)


def test_no_sealed_bearing_is_greased(demo_plant: Plant, demo_history: History):
    sealed = {b["bearing_id"] for b in demo_plant.register.bearings.to_pylist() if b["supply"] == "none"}
    assert sealed
    assert not sealed & {e["bearing_id"] for e in demo_history.events if e["kind"] == "relubrication"}


def test_the_same_seed_gives_the_same_history(demo_plant: Plant, demo_history: History):
    again = simulate(demo_plant, np.random.default_rng(demo_plant.settings["seed"]))
    assert again.events == demo_history.events
    for point_id, values in demo_history.readings.items():
        assert np.array_equal(values, again.readings[point_id], equal_nan=True)


def test_one_situation_less_leaves_the_other_bearings_as_they_were(
    demo_plant: Plant, demo_history: History, demo_description: Path
):
    fewer = Plant(
        demo_plant.register,
        demo_plant.machines,
        demo_plant.fitted,
        demo_plant.settings,
        tuple(s for s in demo_plant.situations if s["name"] != "spalling"),
    )
    without = simulate(fewer, np.random.default_rng(demo_plant.settings["seed"]))
    for point_id, values in demo_history.readings.items():
        changed = not np.array_equal(values, without.readings[point_id], equal_nan=True)
        assert changed == (point_id.startswith("P-2102-MDE"))


def test_faults_of_the_description_come_all_at_once(demo_plant: Plant, demo_description: Path):
    machines = "machine_id,profile,speed_rpm,speed_low_rpm,load_pct\nP-9999,sometimes,1480,,70\n"
    situations = (
        '[[situation]]\nname = "odd"\nbearings = ["NOBODY"]\nwhy = "?"\n'
        'effects = [{ fault = "gremlins" }]\ninstruments = [{ fault = "ghosts" }]\n'
    )
    with pytest.raises(ConfigurationError) as caught:
        parse_plant(demo_plant.register, *texts(demo_description, machines=machines, situations=situations))
    seen = {fault.seen for fault in caught.value.faults}
    assert {"P-9999", "P-1101", "sometimes", "NOBODY", "gremlins", "ghosts"} <= seen
