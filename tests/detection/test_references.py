"""Life of a reference: when it is learned, from what, and what it is held against."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.detection.references import advance, lookback
from condlube.schema.arrow import arrow_schema, conform
from condlube.schema.nights import as_of

ZONE = ZoneInfo("Europe/Lisbon")
KEY = ["point_id", "reference_from", "reference_state"]


def level(frozen, k=-1):
    return frozen["coefficients"].iloc[k][0]


def test_a_point_has_a_provisional_reference_in_a_week_and_a_full_one_in_five(sim):
    plant = sim.plant(30 + sim.noise(50))
    frozen = plant.frozen()
    assert frozen["nights"].to_list() == [5, 28]
    assert frozen["began"].to_list() == ["first", "completed"]
    assert frozen["reference_until"].dt.strftime("%F").to_list() == ["2024-01-06", "2024-02-03"]
    assert frozen["parent"].to_list() == ["", frozen["reference_from"].iloc[0].isoformat()]
    made = conform("expected", pa.Table.from_pandas(plant.learn(), preserve_index=False))
    assert made.schema == arrow_schema("expected")


def test_no_night_after_the_end_changes_what_was_learned(sim):
    calm = sim.plant(30 + sim.noise(60))
    wild = sim.plant(np.concatenate([calm.level[0, :40], np.full(20, 55.0)]))
    pd.testing.assert_frame_equal(calm.frozen(), wild.frozen())


def test_one_call_over_a_history_equals_a_call_each_night(sim):
    events = [
        {"time": sim.at(50), "kind": "relubrication", "bearing_id": "B01"},
        {"time": sim.at(60), "kind": "replacement", "bearing_id": "B02"},
        {"time": sim.at(52), "kind": "sensor_moved", "point_id": "P03"},
        {"time": sim.at(20), "kind": "relubrication", "bearing_id": "B04"},
    ]
    base = 30 + sim.noise((6, 1), 2.0, seed=3)
    plant = sim.plant(base + sim.noise((6, 110)), events=events)
    whole = plant.learn()
    grown = sim.table("expected")
    for day in range(110):
        tonight = as_of(plant.night(day), ZONE)
        seen = plant.summaries[plant.summaries["date"] <= pd.Timestamp(plant.night(day))]
        since = lookback(grown, tonight, ZONE, plant.policy)
        if since is not None:
            seen = seen[seen["date"] >= pd.Timestamp(since)]
        known = plant.events[plant.events["time"] < tonight]
        new = plant.learn(day, grown, seen, known)
        grown = pd.concat([grown, new], ignore_index=True) if len(grown) else new
    first, second = (t.sort_values(KEY, ignore_index=True) for t in (whole, grown))
    pd.testing.assert_frame_equal(first[KEY], second[KEY], check_dtype=False)
    for column in ("known_at", "reference_until", "parent", "began", "ended"):
        assert first[column].astype(str).to_list() == second[column].astype(str).to_list()
    for a, b in zip(first["coefficients"], second["coefficients"], strict=True):
        np.testing.assert_array_equal(np.asarray(a, dtype=float), np.asarray(b, dtype=float))


def test_row_order_does_not_matter(sim):
    plant = sim.plant(30 + sim.noise((3, 60)))
    shuffled = plant.summaries.sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(plant.learn(), plant.learn(summaries=shuffled))


def test_stopped_faulty_and_settling_nights_are_not_learned_from(sim):
    cell = np.zeros((1, 60), dtype=int)
    cell[0, 5:12] = -1
    fault = np.full((1, 60), "", dtype=object)
    fault[0, 12:16] = "frozen"
    values = 30 + sim.noise((1, 60))
    values[0, 5:12] = 2.0
    values[0, 12:16] = 44.0
    greased = [{"time": sim.at(3), "kind": "relubrication", "bearing_id": "B00"}]
    plant = sim.plant(values, cell=cell, fault=fault, events=greased)
    frozen = plant.frozen()
    # nights 0 to 2 and, once settled on day 11, from 16 on
    assert frozen["reference_until"].iloc[0] == pd.Timestamp("2024-01-01", tz="UTC") + timedelta(days=18)
    assert abs(level(frozen, 0) - 30) < 0.5


def test_deviating_nights_are_never_learned_from(sim):
    values = 30 + sim.noise(120)
    values[8:] += np.linspace(0, 9, 112)
    plant = sim.plant(values)
    assert all(abs(beta[0] - 30) < 1.6 for beta in plant.frozen()["coefficients"])
    assert plant.one(119)["deviation"] > 7


def test_a_baseline_that_creeps_with_every_greasing_is_held_against_the_lowest(sim):
    events = [{"time": sim.at(d), "kind": "relubrication", "bearing_id": "B00"} for d in (60, 120, 180, 240)]
    values = 30 + sim.noise(300)
    for k, d in enumerate((60, 120, 180, 240)):
        values[d:] += 2.0 if k else 1.8
    plant = sim.plant(values, events=events)
    frozen = plant.frozen()
    assert level(frozen) < 32.0
    assert frozen["taken_off"].max() > 0.5
    row = plant.one(299)
    assert row["deviation"] > 5


def test_a_baseline_learned_dry_comes_down_after_greasing(sim):
    values = 36 + sim.noise(120)
    values[60:] -= 6
    plant = sim.plant(values, events=[{"time": sim.at(60), "kind": "relubrication", "bearing_id": "B00"}])
    frozen = plant.frozen()
    assert abs(level(frozen) - 30) < 0.5
    assert abs(plant.one(119)["deviation"]) < 1.5


def test_a_bearing_learned_starved_is_seen_by_its_family(sim):
    values = 30 + sim.noise((10, 1), 1.0, seed=2) + sim.noise((10, 50))
    values[0] += 14
    plant = sim.plant(values)
    row = plant.one(49, 0)
    assert row["deviation"] > 4
    assert row["reason"] == "reference_unsettled"
    assert abs(plant.one(49, 5)["deviation"]) < 1.5
    frozen = plant.frozen()
    assert frozen[frozen["point_id"] == "P00"]["family_weight"].iloc[-1] > 0.2


def test_greasing_leaves_the_reference_serving_and_a_new_bearing_ends_it(sim):
    plant = sim.plant(
        30 + sim.noise((2, 80)),
        events=[
            {"time": sim.at(60), "kind": "relubrication", "bearing_id": "B00"},
            {"time": sim.at(60), "kind": "replacement", "bearing_id": "B01"},
        ],
    )
    rows = plant.compare(58, 79)
    greased, replaced = (rows[rows["point_id"] == p].set_index("night")["status"].to_list() for p in ("P00", "P01"))
    assert set(greased) == {"assessed"}
    assert replaced[:2] == ["assessed", "assessed"]
    assert set(replaced[2:14]) == {"not_testable"}  # seven days of settling, then five nights
    assert replaced[-1] == "assessed"


def test_a_superseded_event_is_not_an_event(sim):
    events = [
        {"time": sim.at(60), "kind": "replacement", "bearing_id": "B00"},
        {"time": sim.at(60), "kind": "inspection", "bearing_id": "B00", "supersedes": "e0"},
    ]
    assert set(sim.plant(30 + sim.noise(80), events=events).compare(60, 79)["status"]) == {"assessed"}


def test_route_points_learn_from_few_readings(sim):
    values = np.full(400, np.nan)
    values[::30] = 30 + sim.noise(14)
    frozen = sim.plant(values, sampling="route", n=1, n_total=1).frozen()
    assert frozen["nights"].iloc[0] == 4


def test_empty_and_hostile_tables(sim):
    plant = sim.plant(30 + sim.noise(20))
    assert plant.learn(summaries=plant.summaries.iloc[:0]).empty
    assert plant.learn(summaries=plant.summaries.iloc[:1])["reference_state"].to_list() == ["collecting"]
    later = plant.summaries.assign(known_at=plant.summaries["known_at"] + timedelta(days=1))
    twice = pd.concat([plant.summaries, later])
    assert level(plant.frozen(summaries=twice)) == level(plant.frozen())
    bare = plant.summaries.assign(speed_rpm=np.nan, load=np.nan, ambient_degc=np.nan, spread=np.nan)
    assert np.isfinite(level(plant.frozen(summaries=bare)))
    none = (sim.table(t) for t in ("summaries", "expected", "events", "points", "bearings"))
    assert advance(*none, as_of(plant.night(3), ZONE), ZONE, plant.policy).empty


def new_speed(sim, rise=0.0):
    """A machine at 1480 r/min that runs at 1000 from day 60 on, 3.4 dB quieter for that; ``rise`` comes with it."""
    day = np.arange(160)
    speed = np.where(day < 60, 1480.0, 1000.0)[None]
    values = 30 + 6 * np.log2(speed / 1480) + rise * (day >= 60) + sim.noise((1, 160))
    return sim.plant(values, speed_rpm=speed)


def test_a_lasting_new_speed_extends_the_reference(sim):
    plant = new_speed(sim)
    frozen = plant.frozen()
    assert frozen["began"].to_list() == ["first", "completed", "extended"]
    rows = plant.compare()
    assert set(rows["reason"][60:73]) == {"out_of_range"}
    assert set(rows["reason"][73:]) == {"reference_extended"}
    assert rows["deviation"][75:].abs().max() < 2
    back = plant.summaries.assign(
        speed_rpm=plant.summaries["speed_rpm"].where(plant.summaries["date"] < "2024-05-20", 1480.0)
    )
    back["median"] = back["median"] + np.where(back["date"] < "2024-05-20", 0.0, 3.4)
    plant.summaries = back
    rows = plant.compare()
    assert set(rows["reason"][140:]) == {""}  # the old range is known as before
    assert rows["deviation"][140:].abs().max() < 2


def test_a_machine_that_changes_over_in_its_first_weeks_is_judged_again_within_a_week(sim):
    """A rise of 8 dB that begins five nights after the change of speed is not learned with it."""
    day = np.arange(40)
    rpm = np.where(day < 15, 1000.0, 1480.0)
    level = 30 + 20 * np.log10(rpm / 1480) + sim.noise(40) + np.where(day >= 20, 8.0, 0.0)
    rows = sim.plant(level, speed_rpm=rpm).compare()
    assert set(rows["reason"][15:19]) == {"out_of_range"}
    assert set(rows["status"][19:]) == {"assessed"}
    assert (rows["deviation"][20:] > 6).all()


def test_a_fault_that_comes_with_a_new_speed_is_not_learned_whole(sim):
    assert new_speed(sim, 12.0).one(150)["deviation"] > 7


def test_extension_night_by_night_equals_one_call(sim):
    plant = new_speed(sim)
    grown = sim.table("expected")
    for day in range(20, 100):
        tonight = as_of(plant.night(day), ZONE)
        seen = plant.summaries[plant.summaries["date"] <= pd.Timestamp(plant.night(day))]
        since = lookback(grown, tonight, ZONE, plant.policy)
        seen = seen if since is None else seen[seen["date"] >= pd.Timestamp(since)]
        new = plant.learn(day, grown, seen)
        grown = pd.concat([grown, new], ignore_index=True) if len(grown) else new
    whole = plant.learn(99)
    assert sorted(map(str, whole[KEY].to_numpy().tolist())) == sorted(map(str, grown[KEY].to_numpy().tolist()))
