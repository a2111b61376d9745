"""Summaries as a whole: columns, versions, routes, hostile input."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from condlube.manipulation.summarise import summarise
from condlube.schema.arrow import conform
from condlube.schema.tables import TABLES


def test_columns_are_those_of_the_schema(plant):
    made = plant(days=3, U="ultrasound", T="temperature", S="speed")
    found = made.summaries().drop(columns="day")
    assert tuple(found.columns) == TABLES["summaries"].columns
    table = conform("summaries", pa.Table.from_pandas(found, preserve_index=False))
    assert table.num_rows == len(found) == 9
    assert table["octiles"].null_count == 6  # temperature alone has octiles
    assert found["known_at"].max() == made.time[-1] + pd.Timedelta(hours=6)
    assert found["last_time"].max() == made.time[-1]


def test_known_at_is_the_newest_of_all_readings_used(plant, row):
    made = plant(days=3, U="ultrasound", S="speed")
    table = made.readings()
    late = pd.Timestamp("2024-06-01", tz="UTC")
    table.loc[(table["point_id"] == "S") & (table["time"] == made.time[30]), "known_at"] = late
    found = made.summaries(table=table)
    assert row(found, "U", 0)["known_at"] < late
    assert row(found, "U", 1)["known_at"] == late
    assert row(found, "U", 2)["known_at"] == late  # through the lookback


def test_of_two_readings_at_one_time_the_newest_known_holds(plant, row):
    made = plant(days=2, U="ultrasound")
    table = made.readings()
    again = table.assign(value=table["value"] + 3.0, known_at=table["known_at"] + pd.Timedelta(days=1))
    found = made.summaries(table=pd.concat([again, table], ignore_index=True))
    assert row(found, "U", 1)["n_total"] == 24
    assert row(found, "U", 1)["median"] == pytest.approx(np.median(made.values["U"][24:]) + 3.0)


def test_octiles_are_of_sound_running_temperatures(plant, row):
    made = plant(days=2, T="temperature")
    made.values["T"] = 40.0 + np.arange(48) % 24
    found = row(made.summaries(), "T", 1)
    assert found["octiles"] == pytest.approx(41 + 3 * np.arange(8))


def test_route_readings_have_a_row_of_their_day(plant, row):
    made = plant(days=70, U={"quantity": "ultrasound", "sampling": "route", "bearing_id": "B1"})
    table = made.readings()
    visits = table["time"].isin([made.time[24 * 3 + 9], made.time[24 * 33 + 10], made.time[24 * 65 + 9]])
    found = made.summaries(table=table[visits])
    assert found["day"].tolist() == [3, 33, 65]
    assert (found[["n", "n_total", "coverage"]] == 1).all().all()
    assert set(found["fault"]) == {""}
    assert row(found, "U", 33)["median"] == row(found, "U", 33)["p10"] == row(found, "U", 33)["last_value"]
    assert (found["running_h"] == 24).all()
    assert (found["speed_rpm"] == 1480).all()


def test_a_day_without_readings_has_no_row(plant):
    made = plant(days=5, U="ultrasound", S="speed")
    table = made.readings()
    gone = (table["point_id"] == "U") & table["time"].dt.date.eq(made.days[2])
    found = made.summaries(table=table[~gone])
    assert found[found["point_id"] == "U"]["day"].tolist() == [0, 1, 3, 4]
    assert found[found["point_id"] == "S"]["day"].tolist() == [0, 1, 2, 3, 4]


def test_validity_of_a_point_bounds_its_readings(plant):
    made = plant(days=6, U="ultrasound", V="velocity")
    made.points.loc[made.points["point_id"] == "U", ["valid_from", "valid_to"]] = [made.days[2], made.days[4]]
    found = made.summaries()
    assert found[found["point_id"] == "U"]["day"].tolist() == [2, 3, 4]
    assert found[found["point_id"] == "V"]["day"].tolist() == list(range(6))


def test_minute_data_and_irregular_data(plant, row):
    made = plant(days=2, step="1min", U="ultrasound")
    found = row(made.summaries(), "U", 1)
    assert (found["n"], found["coverage"]) == (1440, 1)
    assert found["median"] == pytest.approx(np.median(made.values["U"][1440:]), rel=1e-12)
    table = made.readings()
    kept = table.sample(300, random_state=1)
    some = row(made.summaries(table=kept), "U", 1)
    assert some["n"] == kept["time"].dt.date.eq(made.days[1]).sum()
    assert some["fault"] == ""


def test_no_machine_without_a_bearing_and_no_bearing_without_a_machine(plant, row):
    made = plant(days=2, U="ultrasound", Z={"quantity": "temperature", "machine_id": "M9"})
    made.bearings.loc[0, "speed_min_rpm"] = None
    found = made.summaries()
    assert row(found, "Z", 1)["n"] == 24
    assert np.isnan(row(found, "Z", 1)["speed_rpm"])
    assert row(found, "U", 1)["speed_rpm"] == 1480


def test_nothing_gives_nothing(plant):
    made = plant(days=3, U="ultrasound", S="speed")
    empty = made.readings().iloc[:0]
    assert made.summaries(table=empty).empty
    never = summarise(empty, made.points, made.bearings, [], made.zone, made.policy)
    assert tuple(never.columns) == TABLES["summaries"].columns
    other = made.readings().assign(point_id="unknown")
    assert made.summaries(table=other).empty
    far = made.readings().assign(time=lambda t: t["time"] + pd.Timedelta(days=9999))
    assert made.summaries(table=far).empty
    ambient = plant(days=2, A={"quantity": "ambient", "plant_wide": True})
    assert ambient.summaries().empty


def test_one_reading_and_all_bad_and_huge(plant, row):
    made = plant(days=3, U="ultrasound")
    table = made.readings()
    one = made.summaries(table=table.iloc[[30]])
    assert (len(one), row(one, "U", 1)["n"]) == (1, 1)
    bad = made.summaries(table=table.assign(quality="bad"))
    assert set(bad["n"]) == {0}
    assert set(bad["fault"]) == {"bad"}
    none = made.summaries(table=table.assign(quality=None, value=np.nan))
    assert set(none["fault"]) == {"bad"}
    huge = made.summaries(table=table.assign(value=np.where(np.arange(72) % 2, 1e300, -1e300)))
    assert set(huge["fault"]) == {"range"}
    infinite = made.summaries(table=table.assign(value=np.inf))
    assert set(infinite["fault"]) == {"bad"}


def test_wild_time_stamps_are_left_out(plant, row):
    made = plant(days=3, U="ultrasound")
    table = made.readings()
    wild = table.iloc[:2].assign(time=pd.to_datetime(["1970-01-01", "2261-01-01"], utc=True).as_unit("us"))
    assert row(made.summaries(table=pd.concat([table, wild])), "U", 1)["n"] == 24


def test_days_far_apart_remember_only_what_is_near(plant):
    made = plant(days=90, U="ultrasound", S="speed")
    some = [made.days[k] for k in (2, 3, 60, 61, 89)]
    everything = made.summaries()
    picked = made.summaries(days=some, earlier=everything)
    pd.testing.assert_frame_equal(
        picked.reset_index(drop=True), everything[everything["day"].isin([2, 3, 60, 61, 89])].reset_index(drop=True)
    )


def test_a_later_version_of_a_day_replaces_the_earlier_one_in_memory(plant):
    """Standstill known from an old version of the days before must not outlive the version that took it back."""
    made = plant(days=12, X="velocity")
    stopped = made.hours % 24 < 8
    healthy = made.readings()
    made.values["X"][stopped] = 0.02
    cycled = made.summaries(days=made.days[:10])
    steady = made.summaries(days=made.days[:10], table=healthy).assign(
        known_at=lambda t: t["known_at"] + timedelta(days=50)
    )
    both = pd.concat([cycled, steady]).drop(columns="day")
    last = made.days[10:11]
    pd.testing.assert_frame_equal(
        made.summaries(days=last, earlier=both, table=healthy),
        made.summaries(days=last, earlier=steady, table=healthy),
    )


def test_unknown_policy_of_a_site_is_followed(plant, row):
    from dataclasses import replace

    made = plant(days=2, T="temperature", S="speed")
    made.values["S"][36] = 0.0
    made.policy = replace(made.policy, summary=replace(made.policy.summary, settle_h=3.0))
    assert row(made.summaries(), "T", 1)["n"] == 24 - 1 - 3
