"""One row per point and night, always; what each says and when it cannot."""

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from condlube.detection.deviations import deviations
from condlube.schema.arrow import arrow_schema, conform
from condlube.schema.nights import nights_between

ZONE = ZoneInfo("Europe/Lisbon")


def test_one_row_per_point_and_night_in_the_schema(sim):
    values = 30 + sim.noise((3, 40))
    values[1, 10:30] = np.nan
    values[2, :] = np.nan
    rows = sim.plant(values).compare()
    assert len(rows) == 3 * 40
    assert not rows.duplicated(["point_id", "night"]).any()
    made = conform("deviations", pa.Table.from_pandas(rows, preserve_index=False))
    assert made.schema == arrow_schema("deviations")
    never = rows[rows["point_id"] == "P02"]
    assert set(never["status"]) == {"absent"}
    gone = rows[rows["point_id"] == "P01"].set_index(np.arange(40))["status"]
    assert gone[9:13].to_list() == ["assessed"] * 4  # three days without readings
    assert set(gone[13:30]) == {"stale"}
    assert rows.loc[rows["status"] == "assessed", "deviation"].notna().all()
    assert rows.loc[rows["status"] == "stale", "deviation"].isna().all()


@pytest.mark.parametrize(
    ("quantity", "level", "factor", "expected"),
    [("ultrasound", 30.0, None, 6.0), ("acceleration", 0.4, 10 ** (6 / 20), 6.0), ("velocity", 2.0, 1.5, 1.5),
     ("kurtosis", 3.0, 1.5, 1.5), ("crest_factor", 3.0, 1.5, 1.5), ("temperature", 50.0, None, 6.0)],
)  # fmt: skip
def test_deviations_are_in_trade_units(sim, quantity, level, factor, expected):
    values = np.full(45, level) * np.exp(sim.noise(45, 0.005))
    values[-1] = values[-1] * factor if factor else values[-1] + 6
    row = sim.plant(values, quantity).one(44)
    assert row["deviation"] == pytest.approx(expected, abs=0.3)
    assert row["observed"] == pytest.approx(values[-1])
    assert row["expected"] == pytest.approx(level, rel=0.01)
    assert row["deviation_sd"] > 0


def test_what_cannot_be_tested_says_why(sim):
    cell, fault = np.zeros((6, 45), dtype=int), np.full((6, 45), "", dtype=object)
    speed = np.full((6, 45), 1480.0)
    values = 30 + sim.noise((6, 45))
    cell[0, 40:] = -1
    fault[1, 40:] = "frozen"
    fault[2, 40:] = "gap"
    speed[3, 40:] = 900.0
    speed[4] = 120.0
    plant = sim.plant(values, cell=cell, fault=fault, speed_rpm=speed)
    rows = plant.compare(44, 44).set_index("point_id")
    said = dict(zip(rows.index, zip(rows["status"], rows["reason"], strict=True), strict=True))
    assert said == {
        "P00": ("not_testable", "stopped"), "P01": ("faulty", "frozen"), "P02": ("not_testable", "gap"),
        "P03": ("not_testable", "out_of_range"), "P04": ("not_testable", "slow_shaft"), "P05": ("assessed", ""),
    }  # fmt: skip
    assert set(plant.compare(0, 3)["status"]) <= {"not_testable"}
    assert (plant.compare(0, 3).query("point_id == 'P05'")["reason"] == "collecting").all()


def test_a_machine_stopped_for_weeks_is_stopped_not_stale_and_comes_back_as_it_was(sim):
    cell = np.zeros((1, 100), dtype=int)
    cell[0, 50:80] = -1
    rows = sim.plant(30 + sim.noise((1, 100)), cell=cell).compare(50, 99)
    assert set(rows["reason"][:30]) == {"stopped"}
    assert set(rows["status"][30:]) == {"assessed"}
    assert (rows["deviation"][30:].abs() < 2).all()


def test_speed_alone_is_no_deviation(sim):
    random = np.random.default_rng(5)
    speed = random.choice([1000.0, 1250.0, 1480.0], (1, 80))
    speed[0, 60:] = 1480.0
    values = 30 + 6 * np.log2(speed / 1480) + random.normal(0, 0.3, (1, 80))
    rows = sim.plant(values, speed_rpm=speed).compare(30, 79)
    assert rows["deviation"].abs().max() < 2


def test_a_hot_week_is_no_deviation_of_temperature(sim):
    ambient = 15 + np.cumsum(sim.noise((1, 80), 0.8, seed=4), axis=1)
    ambient[0, 60:70] += 12
    values = 40 + 0.9 * ambient + sim.noise((1, 80), 0.4)
    rows = sim.plant(values, "temperature", ambient_degc=ambient, ambient_lagged_degc=ambient).compare(60, 69)
    assert rows["deviation"].abs().max() < 5


def test_a_slow_rise_is_gradual_a_jump_is_abrupt_and_a_plateau_does_not_grow(sim):
    day = np.arange(120)
    values = 30 + sim.noise((3, 120), 0.3)
    values[0] += 8 * np.clip((day - 60) / 30, 0, 1)
    values[1] += 8 * np.clip((day - 60) / 3, 0, 1)
    values[2] += 6 * (day >= 60)
    rows = sim.plant(values, collector=None).compare(0, 119).set_index(["point_id", "night"])
    at = lambda p, d: rows.loc[(p, pd.Timestamp("2024-01-01") + pd.Timedelta(days=d))]  # noqa: E731
    assert (at("P00", 85)["onset"], at("P01", 64)["onset"]) == ("gradual", "abrupt")
    assert abs((at("P01", 66)["onset_date"] - pd.Timestamp("2024-03-01")).days) <= 2
    assert (at("P00", 50)["onset"], at("P00", 50)["growth"]) == ("none", 0)
    assert at("P01", 63)["growth"] > 5
    assert at("P00", 85)["growth"] < 2
    assert at("P02", 100)["growth"] == 0
    assert at("P00", 110)["slope_low"] > 0
    assert bool(at("P00", 80)["chart"])


def test_falls_are_ordinary_rows_and_named(sim):
    values = 30 + sim.noise(80)
    values[60:] -= 11
    row = sim.plant(values).one(70)
    assert (row["status"], row["reason"], row["growth"], row["onset"]) == ("assessed", "state_unclear", 0, "none")
    assert row["deviation"] == pytest.approx(-11, abs=1)


def test_replay_of_a_night_needs_only_the_window_and_equals_the_walk(sim):
    events = [{"time": sim.at(100), "kind": "relubrication", "bearing_id": "B01"}]
    values = 30 + sim.noise((4, 200))
    values[1, 80:103] += 8
    plant = sim.plant(values, events=events)
    expected = plant.learn()
    whole = plant.compare(expected=expected)
    for day in (40, 101, 105, 190):
        night = plant.night(day)
        seen = plant.summaries[
            (plant.summaries["date"] <= pd.Timestamp(night))
            & (plant.summaries["date"] >= pd.Timestamp(night) - pd.Timedelta(days=plant.policy.detection.window_days))
        ]
        alone = deviations(seen, expected, plant.events, plant.points, plant.bearings, [night], ZONE, plant.policy)
        rows = whole[whole["night"] == pd.Timestamp(night)].reset_index(drop=True)
        pd.testing.assert_frame_equal(alone.reset_index(drop=True), rows)


def test_collector_jump_is_shared_and_a_single_fault_is_not(sim):
    values = 30 + sim.noise((8, 80))
    values[:, 60:] += 9
    rows = sim.plant(values).compare(63, 63)
    assert (rows["share"] == 1).all()
    values = 30 + sim.noise((8, 80))
    values[0, 60:] += 9
    rows = sim.plant(values).compare(63, 63)
    assert rows["share"].max() < 0.2
    values = 30 + sim.noise((3, 80))
    values[:, 60:] += 9
    assert (sim.plant(values).compare(63, 63)["share"] == 0).all()  # too few points to say


@pytest.mark.parametrize(
    ("after", "word"),
    [(0.0, "held"), (8.0, "none"), (14.0, "worse")],
)
def test_response_to_greasing(sim, after, word):
    values = 30 + sim.noise(120, 0.3)
    values[70:90] += 8
    values[90:] += after
    plant = sim.plant(values, events=[{"time": sim.at(90), "kind": "relubrication", "bearing_id": "B00"}])
    rows = plant.compare(89, 110)
    assert rows["response"].iloc[0] == "unknown"
    assert rows["response"].iloc[5] == word
    assert rows["response_to"].iloc[5] == pd.Timestamp(sim.at(90))


def test_a_level_that_falls_and_comes_back_in_days_has_returned_and_after_months_was_held(sim):
    greased = [{"time": sim.at(90), "kind": "relubrication", "bearing_id": "B00"}]
    values = 30 + sim.noise(180, 0.3)
    values[70:90] += 8
    values[95:] += 8
    assert sim.plant(values, events=greased).one(97)["response"] == "returned"
    values = 30 + sim.noise(180, 0.3)
    values[70:90] += 8
    values[150:] += 8
    assert sim.plant(values, events=greased).one(155)["response"] == "held"


def test_no_response_without_a_raised_level(sim):
    greased = [{"time": sim.at(90), "kind": "relubrication", "bearing_id": "B00"}]
    plant = sim.plant(30 + sim.noise(120, 0.3), events=greased)
    assert plant.one(100)["response"] == "unknown"


def test_the_warm_day_after_greasing_is_shown_but_does_not_grow(sim):
    values = 50 + sim.noise(120, 0.3)
    values[90:92] += 15
    greased = [{"time": sim.at(90), "kind": "relubrication", "bearing_id": "B00"}]
    plant = sim.plant(values, "temperature", events=greased)
    row = plant.one(91)
    assert row["deviation"] > 12
    assert (row["growth"], row["onset"], bool(row["chart"])) == (0, "none", False)
    assert row["nights_over"] == 2


def test_a_raised_route_reading_asks_for_a_second(sim):
    values = np.full(500, np.nan)
    values[::30] = 30 + sim.noise(17, 0.3)
    values[480] = 38.5
    plant = sim.plant(values, sampling="route", n=1, n_total=1)
    first = plant.one(480)
    assert (first["status"], first["reason"]) == ("not_testable", "second_reading")
    assert first["deviation"] == pytest.approx(8.5, abs=1)
    assert plant.one(490)["reason"] == "second_reading_overdue"
    values[484] = 38.0
    again = sim.plant(values, sampling="route", n=1, n_total=1).one(484)
    assert (again["status"], again["nights_over"]) == ("assessed", 2)
    values[484] = 30.0
    assert sim.plant(values, sampling="route", n=1, n_total=1).one(484)["deviation"] == pytest.approx(0, abs=1)
    values[480] = 52.0
    values[484] = np.nan
    assert sim.plant(values, sampling="route", n=1, n_total=1).one(480)["status"] == "assessed"


def test_noisy_points_are_averaged_but_a_clear_jump_is_not(sim):
    values = 30 + sim.noise(80, 3.0, seed=9)
    plant = sim.plant(values)
    rows = plant.compare(50, 79)
    raw = np.abs(values[50:] - 30).mean()
    assert rows["deviation"].abs().mean() < 0.8 * raw
    values[79] = 30 + 30
    assert sim.plant(values).one(79)["deviation"] > 25


def test_a_later_version_of_a_day_replaces_all_its_cells(sim):
    plant = sim.plant(30 + sim.noise((1, 40)))
    last = plant.summaries["date"] == plant.summaries["date"].max()
    early = plant.summaries[last]
    loud = early.assign(cell=1, median=60.0, known_at=early["known_at"] - pd.Timedelta(hours=1), n=500)
    plant.summaries = pd.concat([loud, plant.summaries])
    assert abs(plant.one(39)["deviation"]) < 2


def test_validity_of_points_and_row_order(sim):
    plant = sim.plant(30 + sim.noise((2, 40)))
    plant.points["valid_to"] = [pd.Timestamp("2024-01-20").date(), None]
    rows = plant.compare(0, 39)
    assert (rows["point_id"] == "P00").sum() == 20
    shuffled = deviations(
        plant.summaries.sample(frac=1, random_state=2), plant.learn().sample(frac=1, random_state=3), plant.events,
        plant.points.sample(frac=1, random_state=4), plant.bearings, nights_between(plant.night(0), plant.night(39)),
        ZONE, plant.policy,
    )  # fmt: skip
    pd.testing.assert_frame_equal(rows, shuffled)


def test_empty_tables_and_no_nights(sim):
    plant = sim.plant(30 + sim.noise(20))
    plant.summaries = plant.summaries.iloc[:0]
    rows = plant.compare(0, 2, expected=sim.table("expected"))
    assert set(rows["status"]) == {"absent"}
    tables = (plant.summaries, sim.table("expected"), plant.events, plant.points, plant.bearings)
    assert deviations(*tables, [], ZONE, plant.policy).empty
    nobody = (*tables[:3], plant.points.iloc[:0], plant.bearings)
    assert deviations(*nobody, [plant.night(0)], ZONE, plant.policy).empty


def test_how_a_lasting_rise_began_is_not_forgotten_behind_the_window(sim):
    values = 30 + sim.noise((8, 330))
    values[:, 60:] += 9
    rows = sim.plant(values).compare(100, 329)
    assert set(rows["onset"]) == {"abrupt"}
    assert (rows["share"] > 0.8).all()
    assert set(rows["onset_date"].dt.day_of_year) <= {60, 61, 62}
    values[:, 200:220] -= 9  # mended for a while: what comes then is another rise
    values[:, 220:] -= np.clip(9 - (np.arange(110) - 20) / 4, 0, 9)
    rows = sim.plant(values).compare(329, 329)
    assert set(rows["onset"]) == {"gradual"}
    assert (rows["share"] == 0).all()
    values = 30 + sim.noise((8, 330))
    values[:, 60:] += 9
    moved = [{"time": sim.at(250), "kind": "sensor_moved", "bearing_id": "B00"}]
    assert abs(sim.plant(values, events=moved).one(329)["deviation"]) < 2
