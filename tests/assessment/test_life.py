"""Share of the interval used up, against hand calculation from the published formulas."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from condlube.assessment.life import life
from condlube.policy.parse import parse_policy
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import rows_to_table

AS_OF = datetime(2025, 7, 1, tzinfo=UTC)
UTC_SITE = Site("plant", ZoneInfo("UTC"), None)
GREASES = "grease_id,thickener,temperature_min_degc,temperature_max_degc\nalpha,lithium,-30,120\n"
# Trade formula T = K (14e6/(n sqrt(d)) - 4 d): ball 10, 65 mm, 1800 r/min gives 7047.1 h (calculated from the formula
# of the Tribology Handbook, 2nd ed., A20, with k = 10; stands so in the project's references).
T_6313_AT_1800 = 7047.1


def plant(*bearings, points=(), site=UTC_SITE):
    usual = {"bearing_id": "B", "designation": "6313", "speed_rpm": 1800, "commissioned": "2025-01-01"}
    rows = [{**usual, **b} for b in bearings] or [usual]
    names = sorted({name for row in rows for name in row})
    text = "\n".join([",".join(names), *(",".join(str(row.get(n, "")) for n in names) for row in rows)])
    point_text = "point_id,bearing_id,tag,quantity,unit\n" + "\n".join(points)
    register = parse_register(Text("b", text), Text("g", GREASES), Text("p", point_text) if points else None, site)
    return register.bearings.to_pandas(), register.greases.to_pandas(), register.points.to_pandas()


def table(name, *rows):
    return rows_to_table(name, rows).to_pandas()


def greasing(days_ago, grams=None, **columns):
    return {"event_id": f"e{days_ago}", "kind": "relubrication", "bearing_id": "B",
            "time": AS_OF - timedelta(days=days_ago), "grease_g": grams, **columns}  # fmt: skip


def days_of(point, first, n, **columns):
    """Summary rows of n days, all day running."""
    usual = {"point_id": point, "cell": 0, "running_h": 24.0, "speed_rpm": 1800.0}
    return [{**usual, "date": first + timedelta(days=k), **columns} for k in range(n)]


@pytest.fixture(scope="module")
def ask(policy):
    def made(register, usage=(), events=(), deviations=(), site=UTC_SITE, rules=policy, as_of=AS_OF):
        return life(
            *register, table("summaries", *usage), table("events", *events), table("deviations", *deviations), site,
            rules, as_of,
        )  # fmt: skip

    return made


def test_running_all_the_time_by_the_trade_formula(ask):
    found = ask(plant(), events=[greasing(100)]).iloc[0]
    assert found["interval_h"] == pytest.approx(T_6313_AT_1800, abs=0.1)
    assert found["x"] == pytest.approx(2400 / T_6313_AT_1800, rel=1e-4)
    assert (found["x_since"], found["running_h"], found["days"]) == (found["x"], 2400, 100)
    assert (found["origin"], found["interval_method"], found["interval_reason"]) == ("greasing", "trade_formula", "")


def test_six_factors_of_the_trade_formula(ask):
    """k = 10 x 0.5 x 0.7 x 0.6 gives 1479.9 h at 1800 r/min and 65 mm: hot housing, heavy dust, 0.2 to 0.4 in/s."""
    register = plant({"housing_degc": 70, "contamination": "heavy_nonabrasive"})
    usual = {"point_id": "V", "bearing_id": "B", "quantity": "velocity", "status": "assessed", "expected": 5.0}
    found = ask(register, events=[greasing(10)], deviations=[usual]).iloc[0]
    assert found["interval_h"] == pytest.approx(1479.9, abs=0.1)


def test_without_greasing_the_count_starts_at_commissioning(ask):
    found = ask(plant({"commissioned": "2025-06-01"})).iloc[0]
    assert found["running_h"] == 30 * 24
    assert found["origin"] == "register"


def test_without_commissioning_the_sites_assumption_counts(ask):
    site = Site("plant", ZoneInfo("UTC"), date(2025, 6, 21))
    found = ask(plant({"commissioned": ""}, site=site), site=site).iloc[0]
    assert found["running_h"] == 10 * 24
    assert found["origin"] == "assumed"


def test_with_no_start_at_all_there_is_no_x(ask):
    found = ask(plant({"commissioned": ""})).iloc[0]
    assert np.isnan(found["x"])
    assert found["interval_reason"] == "no_start"


def test_local_midnight_begins_the_count(ask):
    """Commissioned on 1 June in a zone two hours ahead: the count begins at 22:00 UTC of the day before."""
    site = Site("plant", ZoneInfo("Europe/Athens"), None)
    found = ask(plant({"commissioned": "2025-06-01"}, site=site), site=site).iloc[0]
    assert found["running_h"] == 30 * 24 + 3


@pytest.mark.parametrize(
    ("grams", "left"),
    [(23.1, 0.0), (46.2, 0.0), (None, 0.0), (11.55, 0.5), (4.62, 0.8)],
)
def test_a_greasing_renews_the_share_of_the_dose_given(ask, grams, left):
    """Dose of a 6313 from the side: 0.005 x 140 x 33 = 23.1 g."""
    found = ask(plant(), events=[greasing(100), greasing(40, grams)]).iloc[0]
    before, after = 60 * 24 / T_6313_AT_1800, 40 * 24 / T_6313_AT_1800
    assert found["dose_g"] == pytest.approx(23.1)
    assert found["x"] == pytest.approx(before * left + after, rel=1e-4)
    assert found["x_since"] == pytest.approx(after, rel=1e-4)
    assert found["days"] == 40


def test_several_part_doses_one_after_another(ask):
    events = [greasing(100), greasing(60, 11.55), greasing(20, 11.55)]
    found = ask(plant(), events=events).iloc[0]
    day = 24 / T_6313_AT_1800
    assert found["x"] == pytest.approx(((40 * 0.5) + 40) * 0.5 * day + 20 * day, rel=1e-4)


def test_no_grams_given_is_no_greasing(ask):
    found = ask(plant(), events=[greasing(100), greasing(40, 0.0)]).iloc[0]
    assert found["days"] == 100


def test_a_greasing_without_response_renews_nothing(ask):
    answer = {"point_id": "U", "bearing_id": "B", "quantity": "ultrasound", "status": "assessed", "response": "none",
              "response_to": AS_OF - timedelta(days=40)}  # fmt: skip
    found = ask(plant(), events=[greasing(100), greasing(40, 23.1)], deviations=[answer]).iloc[0]
    assert found["x"] == pytest.approx(2400 / T_6313_AT_1800, rel=1e-4)
    assert found["days"] == 40  # but grease was put in


def test_a_corrected_event_does_not_count(ask):
    events = [greasing(100), greasing(40), {**greasing(41, 0.0), "supersedes": "e40"}]
    assert ask(plant(), events=events).iloc[0]["days"] == 100


def test_a_replacement_starts_afresh_and_older_greasings_are_forgotten(ask):
    events = [greasing(30, 11.55), {**greasing(20), "kind": "replacement", "event_id": "r"}]
    found = ask(plant(), events=events).iloc[0]
    assert (found["days"], found["origin"]) == (20, "replacement")
    assert found["x"] == pytest.approx(480 / T_6313_AT_1800, rel=1e-4)


@pytest.mark.parametrize(
    ("basis", "hours", "interval"),
    [("L01", 4000, 4000), ("L10", 4000, 4000 / 2.7), ("unknown", 4000, 4000)],
)
def test_the_manual_comes_first(ask, basis, hours, interval):
    register = plant({"manual_interval_h": hours, "manual_interval_basis": basis})
    found = ask(register, events=[greasing(10)]).iloc[0]
    assert found["interval_h"] == pytest.approx(interval)
    assert found["interval_method"] == "manual"


def test_a_calendar_interval_of_the_manual_is_a_due_date_beside_x(ask):
    register = plant({"manual_interval_h": 90 * 24, "manual_interval_basis": "calendar"})
    found = ask(register, events=[greasing(45)]).iloc[0]
    assert found["interval_h"] == pytest.approx(T_6313_AT_1800, abs=0.1)
    assert found["x_calendar"] == pytest.approx(0.5)
    assert found["x"] == pytest.approx(0.5)


POINTS = ("T,B,t1,temperature,degC",)
FIRST = date(2025, 6, 1)


@pytest.mark.parametrize(("housing", "faster"), [(60, 1.0), (40, 1.0), (75, 2.0), (67.5, 2**0.5), (90, 4.0)])
def test_measured_temperature_halves_per_15_k_above_70_on_the_ring(ask, housing, faster):
    """Ring = housing + 10 K. Below 70 degC the trade formula gains nothing; its own temperature factor is not used."""
    usage = days_of("T", FIRST, 30, octiles=[float(housing)] * 8)
    found = ask(plant(points=POINTS), usage, [greasing(30)]).iloc[0]
    assert found["x"] == pytest.approx(720 * faster / T_6313_AT_1800, rel=1e-4)
    assert found["interval_h"] == pytest.approx(T_6313_AT_1800 / faster, rel=1e-4)


def test_hour_by_hour_not_by_the_mean(ask):
    """75 +- 20 degC on the ring ages more than 75: half the time at 95 (2^(25/15)), half at 55 (1)."""
    usage = days_of("T", FIRST, 30, octiles=[45.0] * 4 + [85.0] * 4)
    found = ask(plant(points=POINTS), usage, [greasing(30)]).iloc[0]
    assert found["x"] == pytest.approx(720 * (0.5 + 0.5 * 2 ** (25 / 15)) / T_6313_AT_1800, rel=1e-4)


def test_the_grease_limit_holds_the_clock(ask):
    """Grease to 120 degC: a ring at 150 ages it no faster than one at 120; there one has to look."""
    found = [
        ask(
            plant({"grease_assigned": "alpha"}, points=POINTS), days_of("T", FIRST, 30, octiles=[housing] * 8),
            [greasing(30)],
        ).iloc[0]["x"]
        for housing in (110.0, 140.0)
    ]  # fmt: skip
    assert found[0] == found[1]


def test_the_catalogue_rule_may_double_once_below_70(ask, policy):
    rules = parse_policy(policy.text.replace('method = "trade_formula"', 'method = "catalogue_rule"'), "p")
    cold, cool, base = (
        ask(plant(points=POINTS), days_of("T", FIRST, 30, octiles=[h] * 8), [greasing(30)], rules=rules).iloc[0]
        for h in (20.0, 45.0, 60.0)
    )
    assert cool["interval_h"] == pytest.approx(2 * base["interval_h"])
    assert cold["interval_h"] == pytest.approx(2 * base["interval_h"])
    manual = plant({"manual_interval_h": 4000, "manual_interval_basis": "L01"}, points=POINTS)
    found = ask(manual, days_of("T", FIRST, 30, octiles=[20.0] * 8), [greasing(30)]).iloc[0]
    assert found["interval_h"] == pytest.approx(4000)


def test_only_running_time_counts_and_standing_time_against_its_cap(ask):
    """Running 6 h a day for 30 days; standing 18 h a day against 24 months (of 730.5 h) dry indoors."""
    usage = days_of("T", FIRST, 30, running_h=6.0, octiles=[50.0] * 8)
    found = ask(plant(points=POINTS), usage, [greasing(30)]).iloc[0]
    assert found["running_h"] == 180
    assert found["x"] == pytest.approx(180 / T_6313_AT_1800 + 540 / (24 * 730.5), rel=1e-4)
    outdoors = ask(plant({"outdoors": "yes"}, points=POINTS), usage, [greasing(30)]).iloc[0]
    assert outdoors["x"] == pytest.approx(180 / T_6313_AT_1800 + 540 / (12 * 730.5), rel=1e-4)


def test_cells_of_a_day_add_up_and_other_signals_do_not(ask):
    points = (*POINTS, "U,B,u1,ultrasound,dB")
    usage = [
        *days_of("T", FIRST, 30, cell=0, running_h=10.0, octiles=[50.0] * 8),
        *days_of("T", FIRST, 30, cell=1, running_h=14.0, octiles=[75.0] * 8),
        *days_of("U", FIRST, 30, running_h=24.0),
    ]
    found = ask(plant(points=points), usage, [greasing(30)]).iloc[0]
    assert found["running_h"] == 720
    assert found["x"] == pytest.approx(30 * (10 + 14 * 2) / T_6313_AT_1800, rel=1e-4)


def test_days_without_data_count_as_running(ask):
    usage = days_of("T", FIRST, 10, running_h=0.0, octiles=None)
    found = ask(plant(points=POINTS), usage, [greasing(30)]).iloc[0]
    assert found["running_h"] == 20 * 24
    standby = ask(plant({"running_share": 0.1}, points=POINTS), usage, [greasing(30)]).iloc[0]
    assert standby["running_h"] == pytest.approx(48)


def test_measured_speed_counts(ask):
    """At 900 r/min: 10 (14e6/(900 sqrt 65) - 260) = 16694 h."""
    usage = days_of("T", FIRST, 30, speed_rpm=900.0, octiles=[50.0] * 8)
    found = ask(plant(points=(*POINTS, "N,B,tag_n,speed,r/min")), usage, [greasing(30)]).iloc[0]
    assert found["interval_h"] == pytest.approx(10 * (14e6 / (900 * 65**0.5) - 260), rel=1e-6)


def test_without_a_speed_signal_the_register_speed_of_the_own_shaft_holds(ask):
    """The summaries of a belt-driven shaft may carry the motor's speed: 7047.1 h at the register's 1800 r/min."""
    usage = days_of("T", FIRST, 30, speed_rpm=900.0, octiles=[50.0] * 8)
    found = ask(plant(points=POINTS), usage, [greasing(30)]).iloc[0]
    assert found["interval_h"] == pytest.approx(T_6313_AT_1800, abs=0.1)


def test_a_day_of_greasing_counts_from_its_hour(ask):
    usage = days_of("T", FIRST, 30, octiles=[50.0] * 8)
    found = ask(plant(points=POINTS), usage, [greasing(10.25)]).iloc[0]
    assert found["running_h"] == pytest.approx(10.25 * 24)


@pytest.mark.parametrize(
    ("bearing", "reason"),
    [
        ({"speed_rpm": 7000}, "speed_beyond_formula"),
        ({"supply": "oil", "grease_assigned": ""}, "not_regreasable"),
    ],
)
def test_outside_its_range_there_is_no_interval(ask, bearing, reason):
    found = ask(plant(bearing), events=[greasing(10)]).iloc[0]
    assert np.isnan(found["x"])
    assert np.isnan(found["interval_h"])
    assert np.isnan(found["rate_per_d"])
    assert found["interval_reason"] == reason


def test_no_interval_is_longer_than_30000_h_nor_any_greasing_older_than_48_months(ask):
    slow = plant({"speed_rpm": 100, "commissioned": "2020-01-01"})
    found = ask(slow, events=[greasing(100)]).iloc[0]
    assert found["interval_h"] == pytest.approx(30_000)
    stands = plant({"speed_rpm": 100, "running_share": 0.0, "commissioned": "2020-01-01"})
    found = ask(stands, events=[greasing(1461)]).iloc[0]
    assert found["x_calendar"] == pytest.approx(1.0, abs=1e-3)
    assert found["x"] == pytest.approx(2.0, abs=1e-2)  # two standing caps of 24 months


def test_a_sealed_bearing_is_measured_by_its_grease_life(ask):
    """L50 at 70 degC is 34,903 h (Booser 1974, from memory), less for speed; L01 is 0.167 of it."""
    found = ask(plant({"designation": "6313-2RS1", "speed_rpm": 300}), events=[]).iloc[0]
    assert found["interval_method"] == "grease_life"
    assert 4_000 < found["interval_h"] < 0.168 * 34_903


@given(st.permutations(range(4)), st.integers(0, 2**32 - 1))
@settings(max_examples=15)
def test_order_of_rows_and_size_of_batch_do_not_matter(ask, order, seed):
    names = ["B", "C", "D", "E"]
    register = plant(*[{"bearing_id": n, "speed_rpm": 900 + 300 * k} for k, n in enumerate(names)],
                     points=tuple(f"T{n},{n},t{n},temperature,degC" for n in names))  # fmt: skip
    rng = np.random.default_rng(seed)
    usage = [
        row for n in names for row in days_of(f"T{n}", FIRST, 20, running_h=float(rng.uniform(0, 24)),
                                              octiles=list(rng.uniform(40, 100, 8)))
    ]  # fmt: skip
    events = [greasing(50 + k, bearing_id=n, event_id=n) for k, n in enumerate(names)]
    whole = ask(register, usage, events)
    bearings, greases, points = register
    mixed = ask((bearings.iloc[list(order)], greases, points.sample(frac=1, random_state=seed)),
                [usage[k] for k in rng.permutation(len(usage))], events[::-1])  # fmt: skip
    single = pd.concat([ask((bearings.iloc[[k]], greases, points), usage, events) for k in range(4)])
    for other in (mixed, single):
        pd.testing.assert_frame_equal(other.sort_index(), whole, check_exact=True)


def test_nobody(ask):
    bearings, greases, points = plant()
    assert len(ask((bearings.iloc[:0], greases, points))) == 0
