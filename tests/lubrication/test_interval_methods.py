"""Trade formula, catalogue rule, reduction factors, and the three side by side."""

from __future__ import annotations

import time

import numpy as np
import pytest

from condlube.errors import InvalidArgument
from condlube.lubrication import catalogue, factors, reduction, temperature, trade
from condlube.lubrication.interval import side_by_side
from condlube.lubrication.life_distribution import L10_PER_L01
from condlube.lubrication.result import Outside, Result, result

BALL = "deep_groove_ball"


def test_trade_formula_is_outside_at_its_zero() -> None:
    zero = float(trade.zero_speed(100.0))
    assert zero == pytest.approx(3500.0)
    found = trade.trade_interval([zero * 0.999999, zero, zero * 1.5], 100.0, 10.0)
    assert found.outside.tolist() == [False, True, True]
    assert found.value[0] > 0
    assert np.isnan(found.value[1:]).all()
    assert "ask the bearing maker" in found.explain()


def test_explain_is_empty_inside() -> None:
    assert trade.trade_interval(1000.0, 50.0, 10.0).explain() == ""


def test_scaled_keeps_what_is_outside() -> None:
    found = trade.trade_interval([1000.0, 9000.0], 100.0, 10.0).scaled([[0.5], [2.0]])
    assert found.value.shape == (2, 2)
    assert found.value[:, 0] == pytest.approx([5000.0, 20000.0])  # 10,000 h: Tribology Handbook formula, d=100, n=1000
    assert found.outside[:, 1].all()


def test_restricted_first_case_counts() -> None:
    base = result(np.array([1.0, 2.0]), "h", (np.array([True, False]), Outside.TOO_HOT))
    found = base.restricted((np.array([True, True]), Outside.NOT_REGREASABLE))
    assert found.reason.tolist() == [Outside.NOT_REGREASABLE] * 2
    assert base.restricted((np.array(False), Outside.TOO_COLD)).reason.tolist() == [Outside.TOO_HOT, 0]


def test_first_case_gives_the_reason() -> None:
    both = np.array([True, False]), np.array([True, True])
    found = result(np.ones(2), "h", (both[0], Outside.TOO_HOT), (both[1], Outside.TOO_COLD))
    assert found.reason.tolist() == [Outside.TOO_HOT, Outside.TOO_COLD]


def test_no_spread_where_one_method_alone_answers() -> None:
    found = side_by_side(3000, 80, 170, bearing_type="spherical_roller")  # n·dm 375,000, limit 250,000
    assert found.trade.interval.value > 0
    assert found.catalogue.interval.outside
    assert np.isnan(found.spread)


def test_every_outside_code_has_a_reason_and_advice() -> None:
    for code in Outside:
        assert code.why
        assert bool(code.advice) == bool(code)
    assert len({code.value for code in Outside}) == len(Outside)


def test_catalogue_adjustments() -> None:
    base = catalogue.catalogue_interval(1000, 65, 140, bearing_type=BALL)
    vertical = catalogue.catalogue_interval(1000, 65, 140, bearing_type=BALL, orientation="vertical")
    assert vertical.value == pytest.approx(base.value * 0.5)  # catalogue: vertical shaft halves
    outer = catalogue.catalogue_interval(1000, 65, 140, bearing_type=BALL, rotating_ring="outer")
    a = 1000 * 140.0  # n·D instead of n·dm
    assert outer.value == pytest.approx(catalogue.diagram(a, 15.0).value)
    large = catalogue.catalogue_interval([100, 100], [300, 300.001], 460, bearing_type="cylindrical_roller")
    assert large.value[1] / large.value[0] == pytest.approx(0.5, rel=1e-4)  # catalogue: bore above 300 mm halves


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ({"seal": "sealed"}, Outside.NOT_REGREASABLE),
        ({"seal": "shielded"}, Outside.NOT_REGREASABLE),
        ({"load_ratio_c_p": 3.99}, Outside.LOAD_TOO_HIGH),
        ({"speed_rpm": 6000.0}, Outside.SPEED_FACTOR_TOO_HIGH),
        ({"speed_rpm": 4000.0, "load_ratio_c_p": 5.0}, Outside.SPEED_FACTOR_TOO_HIGH),
    ],
)
def test_catalogue_outside(arguments: dict[str, object], reason: Outside) -> None:
    call = {"speed_rpm": 1500.0, "bore_mm": 65.0, "outside_diameter_mm": 140.0, "bearing_type": BALL, **arguments}
    found = catalogue.catalogue_interval(**call)  # type: ignore[arg-type]
    assert found.reason == reason
    assert np.isnan(found.value)


def test_diagram_ends() -> None:
    assert catalogue.diagram([8e5, 8.001e5], 15.0).outside.tolist() == [False, True]


def test_diagram_is_near_the_remembered_curve() -> None:
    """Remembered, ± 50 %: 2 to 3·10⁴ h at 100,000; 10⁴ at 200,000; 3.5 to 4.5·10³ at 400,000; 1 to 1.8·10³ at 6e5."""
    low, high = np.array([2e4, 0.5e4, 3.5e3, 1e3]), np.array([3e4, 1.5e4, 4.5e3, 1.8e3])
    found = catalogue.diagram([1e5, 2e5, 4e5, 6e5], 15.0).value
    assert (low <= found).all()
    assert (found <= high).all()


def test_cap() -> None:
    found = catalogue.planning_cap(trade.trade_interval([10.0, 1000.0, 9000.0], 100.0, 10.0))
    assert found.value[:2] == pytest.approx([30_000.0, 10_000.0])
    assert found.outside.tolist() == [False, False, True]


def test_doubling_is_refused_for_thrust_roller_bearings() -> None:
    types = ["deep_groove_ball", "spherical_roller", "cylindrical_roller_thrust", "spherical_roller_thrust"]
    assert catalogue.may_double(types).tolist() == [True, True, False, False]
    found = temperature.temperature_multiplier(50.0, may_double=catalogue.may_double(types))
    assert found.tolist() == [2.0, 2.0, 1.0, 1.0]


def test_temperature_multiplier_is_held_above_the_limit() -> None:
    found = temperature.temperature_multiplier([100.0, 130.0], held_above_degc=100.0)
    assert found.tolist() == [0.25, 0.25]
    with pytest.raises(InvalidArgument, match="may_double"):
        temperature.temperature_multiplier(80.0, may_double="yes")


def test_ring_is_ten_kelvin_above_the_housing() -> None:
    assert temperature.ring_temperature([50.0, 70.0]).tolist() == [60.0, 80.0]


@pytest.mark.parametrize(("edge", "severe"), [(65.0, 0.5), (80.0, 0.2), (93.0, 0.1)])
def test_band_edges_belong_to_the_severe_band(edge: float, severe: float) -> None:
    assert factors.temperature_factor([edge - 1e-9, edge])[1] == severe
    assert factors.temperature_factor(edge - 1e-9) > severe


def test_vibration_edges_are_peak_inches_per_second() -> None:
    edges = np.array([0.2, 0.4]) * 25.4 / np.sqrt(2)  # printed as in/s peak, sine
    assert factors.vibration_factor(edges).tolist() == [0.6, 0.3]
    assert factors.vibration_factor(edges * (1 - 1e-12)).tolist() == [1.0, 0.6]


def test_reduced_interval_worked_by_hand() -> None:
    """References 1c: 20,000 h × 0.8 × 0.9 × 0.6 × 0.7 = 6048 h lies within the ranges that the table gives."""
    ranges = reduction.dust_and_moisture("moderate").times(reduction.shock_and_vibration("moderate"))
    ranges = ranges.times(reduction.high_temperature(75.0)).times(reduction.vertical_shaft("vertical"))
    base = Result(np.array(20_000.0), np.array(0, dtype=np.uint8), "h")
    shortest, longest = reduction.reduced_interval(base, ranges)
    assert float(shortest.value) == pytest.approx(20_000 * 0.7 * 0.7 * 0.6 * 0.5)
    assert float(longest.value) == pytest.approx(20_000 * 0.9 * 0.9 * 0.9 * 0.7)
    assert shortest.value < 6048 < longest.value


@pytest.mark.parametrize(("temperature_degc", "share"), [(120.1, 0.1), (80.0, 0.36)])
def test_reduction_outside(temperature_degc: float, share: float) -> None:
    ranges = reduction.high_temperature(temperature_degc).times(reduction.load(share))
    base = Result(np.array(20_000.0), np.array(0, dtype=np.uint8), "h")
    assert all(end.outside for end in reduction.reduced_interval(base, ranges))


def test_side_by_side_is_each_method() -> None:
    found = side_by_side(
        1800, 65, 140, bearing_type=BALL, housing_temperature_degc=70, ring_temperature_degc=80,
        contamination="heavy_nonabrasive", velocity_mm_s_rms=4.0,
    )  # fmt: skip
    assert float(found.trade.interval.value) == pytest.approx(1479.9, abs=0.05)  # references 1a, worked example
    assert float(found.trade.k) == pytest.approx(2.1)
    assert float(found.catalogue.multiplier) == pytest.approx(2 ** (-10 / 15))
    assert found.catalogue.l10.value == pytest.approx(L10_PER_L01 * found.catalogue.interval.value)
    answers = [found.trade.interval.value, found.catalogue.interval.value,
               np.sqrt(found.reduction.shortest.value * found.reduction.longest.value)]  # fmt: skip
    assert float(found.spread) == pytest.approx(max(answers) / min(answers))


def test_side_by_side_sealed_has_no_interval() -> None:
    found = side_by_side(1800, 25, 52, bearing_type=BALL, seal=["open", "sealed"])
    for interval in (found.trade.interval, found.catalogue.interval, found.reduction.shortest):
        assert interval.outside.tolist() == [False, True]
    assert np.isnan(found.spread[1])


def test_side_by_side_vectorised_equals_one_by_one() -> None:
    speeds, types = [500.0, 1500.0, 3600.0], ["spherical_roller", BALL, "cylindrical_roller"]
    together = side_by_side(speeds, 65, 140, bearing_type=types, moisture=["dry", "humid", "water"])
    for index, (speed, name) in enumerate(zip(speeds, types, strict=True)):
        alone = side_by_side(speed, 65, 140, bearing_type=name, moisture=["dry", "humid", "water"][index])
        assert together.trade.interval.value[index] == alone.trade.interval.value
        assert together.catalogue.interval.value[index] == alone.catalogue.interval.value
        np.testing.assert_array_equal(together.spread[index], alone.spread)


def test_a_million_intervals_within_a_second() -> None:
    random = np.random.default_rng(7)
    speed, bore = random.uniform(100, 3600, 1_000_000), random.uniform(10, 200, 1_000_000)
    fastest = np.inf
    for _ in range(3):
        start = time.perf_counter()
        found = trade.trade_interval(speed, bore, 10.0)
        fastest = min(fastest, time.perf_counter() - start)
    assert found.value.size == 1_000_000
    assert fastest < 1.0
