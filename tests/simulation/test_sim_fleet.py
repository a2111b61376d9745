from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pyarrow.compute as pc
import pytest

from condlube.errors import InvalidArgument
from condlube.schema.arrow import arrow_schema
from condlube.simulation.careers import simulate_career
from condlube.simulation.fleet import Fleet, simulate_fleet


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate_fleet(np.random.default_rng(3), 60, 2.0, spalling_per_year=0.3)


def test_tables_are_those_of_the_schema(fleet: Fleet):
    assert fleet.summaries.schema.equals(arrow_schema("summaries"))
    assert fleet.events.schema.equals(arrow_schema("events"))
    assert fleet.summaries.num_rows == 60 * 3 * 730
    assert fleet.summaries["median"].null_count == 0
    keys = fleet.summaries.group_by(["point_id", "date", "cell"]).aggregate([("median", "count")])
    assert keys.num_rows == fleet.summaries.num_rows


def test_points_of_the_summaries_are_registered(fleet: Fleet):
    assert set(fleet.summaries["point_id"].to_pylist()) == set(fleet.register.points["point_id"].to_pylist())


def test_octiles_of_temperature_have_its_mean(fleet: Fleet):
    rows = fleet.summaries.filter(pc.ends_with(fleet.summaries["point_id"], "temperature")).slice(0, 50)
    octiles = np.array(rows["octiles"].to_pylist())
    assert octiles.shape == (50, 8)
    assert octiles.mean(axis=1) == pytest.approx(rows["median"].to_numpy(), abs=1e-9)


def test_every_failure_of_the_truth_is_recorded_and_replaced(fleet: Fleet):
    failures = [row for row in fleet.truth if row["failed"]]
    assert len(failures) > 10
    events = fleet.events.to_pylist()
    recorded = [(e["bearing_id"], e["lubrication_related"]) for e in events if e["kind"] == "failure"]
    told = [(row["bearing_id"], row["fault"] == "dry") for row in failures]
    assert sorted(recorded) == sorted(told)
    replaced = [e["bearing_id"] for e in events if e["kind"] == "replacement"]
    assert len(recorded) - 2 <= len(replaced) <= len(recorded)


def test_a_spalling_bearing_is_loud_before_it_fails(fleet: Fleet):
    row = next(r for r in fleet.truth if r["fault"] == "spalling" and r["failed"] and r["onset"] > date(2023, 3, 1))
    one = fleet.summaries.filter(pc.equal(fleet.summaries["point_id"], f"{row['bearing_id']}-ultrasound"))
    level = dict(zip(one["date"].to_pylist(), one["median"].to_pylist(), strict=True))
    before = np.median([level[row["onset"] - timedelta(days=k)] for k in range(2, 15)])
    assert level[row["ended"] - timedelta(days=1)] - before > 10.0


def test_fillings_that_end_early_are_as_rare_as_published():
    # L01 = t_f; greased at 0.85 to 1.0 of it, and the film begins to fail at 0.8 of the filling's own life
    rng = np.random.default_rng(8)
    careers = [simulate_career(rng, 1000, 100.0, spalling_per_year=0.0, unbalance_per_year=0.0) for _ in range(1000)]
    fillings = sum(sum(e.kind == "relubrication" for e in c.events) for c in careers)
    dry = sum(len(c.faults) for c in careers)
    # share of lives under 0.925/0.8 = 1.156 t_f: 1 - 0.99^(1.156^2.366) = 1.41 %
    assert dry / fillings == pytest.approx(0.0141, rel=0.25)


def test_nothing_happens_to_a_sound_fleet():
    career = simulate_career(np.random.default_rng(1), 400, 1e6, spalling_per_year=0.0, unbalance_per_year=0.0)
    assert career.faults == ()
    assert [e.kind for e in career.events] == ["relubrication"]
    assert np.asarray(career.deviations.ultrasound_db).max() == 0.0


def test_the_same_seed_gives_the_same_fleet():
    one, two = (simulate_fleet(np.random.default_rng(5), 6, 0.5) for _ in range(2))
    assert one.summaries.equals(two.summaries)
    assert one.events.equals(two.events)
    assert one.truth == two.truth


@pytest.mark.parametrize(("bearings", "years"), [(0, 1.0), (3, 0.0)])
def test_an_empty_fleet_is_refused(bearings: int, years: float):
    with pytest.raises(InvalidArgument):
        simulate_fleet(np.random.default_rng(0), bearings, years)
