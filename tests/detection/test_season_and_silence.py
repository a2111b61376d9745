"""A temperature without ambient signal through the seasons; machines and sensors that fall silent."""

import numpy as np

from condlube.detection.season import season

DAYS = np.arange(400)


def warm(sim, extra=0.0):
    year = 60 + 9 * np.sin(2 * np.pi * (DAYS - 60) / 365) + sim.noise(400, 0.5) + extra
    return sim.plant(year, "temperature", ambient_degc=np.nan)


def test_season_is_no_deviation_without_an_ambient_signal_and_a_rise_of_days_is(sim):
    assert warm(sim).compare(40, 399)["deviation"].abs().max() < 8
    assert warm(sim, 20.0 * (DAYS >= 300)).one(304)["deviation"] > 15


def test_season_is_bounded_and_needs_a_month():
    day = np.arange(60)
    lo, hi, night = np.array([0]), np.array([59]), np.array([59])
    assert season(lo, hi, day, np.full(60, 4.0), night, 10.0)[0] == 4
    assert season(lo, hi, day, np.full(60, 40.0), night, 10.0)[0] == 10
    assert season(np.array([50]), hi, day, np.full(60, 4.0), night, 10.0)[0] == 0


def machine(sim, falls):
    """One machine with ultrasound, velocity and temperature; each falls by its factor or difference from day 50 on."""
    late = np.arange(70) >= 50
    level = np.array([30 + sim.noise(70) - falls[0] * late, 2.0 * np.where(late, falls[1], 1.0) + 0 * sim.noise(70),
                      60 + sim.noise(70) - falls[2] * late])  # fmt: skip
    plant = sim.plant(level)
    plant.points["quantity"] = ["ultrasound", "velocity", "temperature"]
    plant.bearings["machine_id"] = "M"
    rows = plant.compare(60, 60).set_index("quantity")
    return {q: (rows.loc[q, "status"], rows.loc[q, "reason"]) for q in rows.index}


def test_a_machine_that_went_silent_and_cold_stands(sim):
    assert set(machine(sim, (25.0, 0.05, 30.0)).values()) == {("not_testable", "stopped")}


def test_a_silent_sensor_on_a_machine_that_runs_is_dead(sim):
    told = machine(sim, (25.0, 1.0, 0.0))
    assert told["ultrasound"] == ("faulty", "no_signal")
    assert told["velocity"] == told["temperature"] == ("assessed", "")


def test_silence_of_a_machine_that_stays_warm_is_a_question(sim):
    told = machine(sim, (25.0, 0.05, 0.0))
    assert told["ultrasound"] == told["velocity"] == ("assessed", "state_unclear")
    assert told["temperature"] == ("assessed", "")


def duty(sim, dead, quantity="ultrasound", tags=True, days=40):
    """A machine that runs fast for three days, slow for three; one channel reads its own noise from the first day."""
    fast = (np.arange(days) // 3) % 2 == 1
    level = np.array([dead + sim.noise(days, 0.05), 4.0 * np.where(fast, 2.5, 1.0) * np.exp(0.1 * sim.noise(days))])
    rpm = np.where(fast, 1480.0, 800.0)
    plant = sim.plant(level, speed_rpm=rpm if tags else np.nan)
    plant.points["quantity"] = [quantity, "velocity"]
    plant.bearings["machine_id"] = "M"
    return plant


def test_a_channel_that_never_moves_with_its_machine_is_dead(sim):
    for tags in (True, False):
        rows = duty(sim, 12.0, tags=tags).compare(30, 39)
        told = rows.groupby("quantity")[["status", "reason"]].agg(set)
        assert told.loc["ultrasound"].to_list() == [{"faulty"}, {"no_signal"}]
        assert told.loc["velocity", "status"] == {"assessed"}


def test_a_steady_channel_of_a_machine_that_runs_steadily_is_sound(sim):
    level = 12.0 + sim.noise(60, 0.05)
    assert sim.plant(level).one(50)["status"] == "assessed"
    pair = sim.plant([level, 30 + sim.noise(60) + 9.0 * (np.arange(60) > 45)])  # the other one fails
    pair.bearings["machine_id"] = "M"
    assert pair.one(55)["status"] == "assessed"


def steady(sim, level, stir, others=3, days=40):
    """Like bearings on machines that run steadily, each on its own; the first reads ``level`` and moves by ``stir``."""
    plant = sim.plant(np.vstack([level + sim.noise(days, stir), 30 + sim.noise((others, days), 0.4)]))
    return plant.compare(30, 39).groupby("bearing_id")["reason"].agg(set)


def test_a_channel_far_under_its_like_and_stiller_is_dead(sim):
    told = steady(sim, 12.0, 0.05)
    assert told.iloc[0] == {"no_signal"}
    assert all(reasons == {""} for reasons in told.iloc[1:])


def test_a_quiet_bearing_that_moves_as_its_like_do_is_sound(sim):
    assert steady(sim, 12.0, 0.14).iloc[0] == {""}
    assert steady(sim, 18.0, 0.05).iloc[0] == {""}
    assert steady(sim, 12.0, 0.05, others=1).iloc[0] == {""}


def test_a_channel_reads_the_same_at_standstill_and_running_is_dead(sim):
    stops = np.arange(40) % 7 >= 5
    plant = sim.plant(12.0 + sim.noise(40, 0.05), cell=np.where(stops, -1, 0), n=np.where(stops, 0, 24))
    assert plant.one(39)["reason"] == "no_signal"


def test_three_signals_that_fall_silent_beside_one_that_does_not_are_a_question(sim):
    """A machine that stands for the first time, and a channel that has always been dead."""
    late = np.arange(60) >= 50
    level = np.array([30 + sim.noise(60, seed=k) - 25.0 * late * (k < 3) for k in range(4)])
    plant = sim.plant(level)
    plant.bearings["machine_id"] = "M"
    told = plant.compare(55, 55).set_index("point_id")[["status", "reason"]].to_numpy().tolist()
    assert told == [["assessed", "state_unclear"]] * 3 + [["assessed", ""]]
