"""Thirty nights of two real ventilation units through the whole house, export to call.

Unit 1 runs on weekdays and stands at week-ends and from 3 January on. Unit 0 stands for eleven hours of every day and
runs at two levels, one five times the other, for shares of the day that change twice. Nothing but the vibration itself
tells that a unit stands. Where that is told, and what level a unit runs at, the tests find from the readings.
"""

import json
from datetime import date

import numpy as np
import pandas as pd
import pytest
from skchange.datasets import load_hvac_system_data
from ventilation import LATER, NIGHTS, NOW, write_ventilation

from condlube.manipulation.expected import from_scale
from condlube.operations.definition import load
from condlube.operations.nightly import nightly
from condlube.store.store import Store

AT_REST = 0.004124  # the readings at rest are 0.001 sqrt(17), or an average of such


@pytest.fixture(scope="module", params=["velocity", pytest.param("acceleration", marks=pytest.mark.long)])
def site(request, tmp_path_factory):
    folder = write_ventilation(tmp_path_factory.mktemp(request.param) / "site", request.param)
    result = nightly(folder, NOW, NIGHTS)
    definition = load(folder)
    return request.param, folder, result, Store.open(definition.store, definition.ledger).snapshot()


@pytest.fixture(scope="module")
def truth():
    """Readings by unit and day: how many, how many of them running, and their median while running."""
    data = load_hvac_system_data(as_frame=True)["frame"].reset_index()
    data["time"] += data["unit_id"].map(LATER)
    data["running"] = data["vibration"].where(data["vibration"] > AT_REST)
    by = data.groupby([data["unit_id"].map("U{}".format), data["time"].dt.date])
    return by.agg(readings=("vibration", "size"), running=("running", "count"), level=("running", "median"))


def calls(result, unit):
    return {morning.run.night: morning.decisions[unit] for morning in result.mornings}


def assessed(result, unit):
    """Evidence rows of the unit's point, by night."""
    return {
        morning.run.night: [row for row in morning.evidence[unit] if row["point_id"]] for morning in result.mornings
    }


def stopped_days(truth, unit):
    found = truth.loc[unit]
    return {day for day in NIGHTS if found.loc[day, "running"] == 0}


def running_days(truth, unit):
    found = truth.loc[unit]
    return {day for day in NIGHTS if found.loc[day, "running"] > 0}


def learned(result, truth, unit):
    """The night from which a first reference can stand: the last of as many running ones as the policy asks for."""
    return sorted(running_days(truth, unit))[result.checked.policy.reference.min_nights - 1]


def summaries(snapshot, unit):
    found = snapshot.read("summaries").to_pandas()
    found = found[found["point_id"].str.startswith(unit)]
    return found.assign(date=pd.to_datetime(found["date"]).dt.date, fault=found["fault"].fillna(""))


def test_every_line_is_accounted_for(site):
    _, folder, result, snapshot = site
    lines = len((folder / "exports" / "ventilation.csv").read_text().splitlines()) - 1
    assert lines == len(load_hvac_system_data()["data"])
    ingested = result.ingested
    assert (ingested.lines, ingested.stored, ingested.duplicate, ingested.rejected) == (lines, lines, 0, 0)
    assert snapshot.read("readings").num_rows == lines
    said = json.loads((result.mornings[-1].folder / "summary.json").read_text())["ingest"]
    assert (said["lines"], said["stored"], said["duplicate"], said["rejected"]) == (lines, lines, 0, 0)


def test_all_nights_are_decided_and_nothing_fails(site):
    _, _, result, _ = site
    assert [morning.run.night for morning in result.mornings] == NIGHTS
    assert len(NIGHTS) == 30
    assert result.failed == 0


@pytest.mark.parametrize("unit", ["U0", "U1"])
def test_neither_unit_is_greased_nor_inspected(site, unit):
    """Stronger than asked: not before the reference either."""
    _, _, result, _ = site
    assert {night: row["call"] for night, row in calls(result, unit).items() if row["call"] != "hold"} == {}


@pytest.mark.parametrize("unit", ["U0", "U1"])
def test_the_holds_rest_on_condition_once_a_reference_stands(site, truth, unit):
    """Else the test above would hold for a chain that never looks at a reading."""
    _, _, result, _ = site
    running = running_days(truth, unit)
    judged = {night for night in running if night >= learned(result, truth, unit)}
    assert len(judged) > 10
    rows = assessed(result, unit)
    assert {night for night in NIGHTS if any(row["status"] == "assessed" for row in rows[night])} == judged
    assert {night for night, row in calls(result, unit).items() if row["condition_status"] == "not_testable"} >= (
        running - judged
    )


def test_stopped_days_of_unit_1_come_out_as_stopped(site, truth):
    _, _, result, snapshot = site
    stopped = stopped_days(truth, "U1")
    weekends = {day for day in NIGHTS if day.weekday() >= 5}
    assert stopped == weekends | {date(2024, 1, 3), date(2024, 1, 4), date(2024, 1, 5)}
    found = summaries(snapshot, "U1")
    still = found[found["date"].isin(stopped) & (found["n_total"] > 0)]  # before its first reading a unit may have run
    assert len(still) == len(stopped)
    assert set(still["cell"]) == {-1}
    assert (still["running_h"] == 0).all()
    assert set(still["fault"]) == {""}
    rows, decided = assessed(result, "U1"), calls(result, "U1")
    for night in stopped:
        assert {(row["status"], row["reason"]) for row in rows[night]} == {("not_testable", "stopped")}, night
        assert decided[night]["condition_status"] == "not_testable"
        bits = [row[name] for row in rows[night] for name in row if name.startswith("bits_")]
        assert bits
        assert set(bits) == {0.0}


def test_unit_1_never_reads_as_a_vibration_that_dropped(site, truth):
    """Its running median never leaves 0.7 to 1.4 of the median of the days that the reference was learned from."""
    quantity, _, result, _ = site
    running = truth.loc["U1"]["level"].dropna()
    usual = running[[day for day in running.index if day <= learned(result, truth, "U1")]].median()
    assert (running / usual).between(0.7, 1.4).all()
    seen = [row for rows in assessed(result, "U1").values() for row in rows if row["status"] == "assessed"]
    found = np.array([row["deviation"] for row in seen])
    ratio = 10 ** (found / 20) if quantity == "acceleration" else found
    assert ((ratio > 0.7) & (ratio < 1.4)).all()
    assert "state_unclear" not in {row["reason"] for row in seen}


@pytest.mark.parametrize("unit", ["U0", "U1"])
def test_running_hours_are_those_of_the_readings(site, truth, unit):
    """Ten minutes a reading; where the export has a gap, the last reading speaks on."""
    _, _, _, snapshot = site
    own = truth.loc[unit]
    whole = [day for day in NIGHTS if own.loc[day, "readings"] == 144]
    assert len(whole) >= 25
    hours = summaries(snapshot, unit).groupby("date")["running_h"].sum()
    for day in whole:
        assert hours[day] == pytest.approx(own.loc[day, "running"] / 6, abs=1 / 6), day


@pytest.mark.parametrize("unit", ["U0", "U1"])
def test_no_reference_is_built_from_readings_at_rest(site, truth, unit):
    """The frozen level is the running level of its days, and the days themselves were summarised without the rest."""
    quantity, _, _, snapshot = site
    found = summaries(snapshot, unit)
    taken = found[(found["cell"] >= 0) & (found["n"] > 0)]
    assert set(taken[taken["p10"] <= AT_REST]["date"]) == set()
    expected = snapshot.read("expected").to_pandas()
    frozen = expected[expected["point_id"].str.startswith(unit) & (expected["reference_state"] == "frozen")]
    assert len(frozen) >= 1
    for row in frozen.to_dict("records"):
        level = from_scale(quantity, np.array([row["coefficients"][0]]))[0]
        first, end = row["reference_from"].date(), row["reference_until"].date()
        usual = truth.loc[unit].loc[[day for day in NIGHTS if first <= day < end], "level"].median()
        assert level == pytest.approx(usual, rel=0.1)
        assert level > 5 * AT_REST
