"""Properties that every handbook calculation keeps: monotone, unit-free, the same for one and for many."""

from __future__ import annotations

import numpy as np
import pint
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from condlube.lubrication import (
    catalogue,
    classes,
    factors,
    grease_life,
    life_distribution,
    life_modification,
    quantity,
    rating_life,
    reduction,
    severity,
    temperature,
    trade,
    viscosity,
    viscosity_index,
    viscosity_ratio,
)
from condlube.lubrication.interval import side_by_side
from condlube.lubrication.result import Result

SPEED = st.floats(10.0, 10_000.0)
BORE = st.floats(5.0, 250.0)
TEMPERATURE = st.floats(-30.0, 150.0)
LOAD_RATIO = st.floats(4.0, 50.0)
TYPE = st.sampled_from(classes.BEARING_TYPES)
SHORT_TYPE = st.sampled_from(("deep_groove_ball", "cylindrical_roller", "spherical_roller"))


def _not_longer(milder: Result, harsher: Result) -> None:
    """A harsher condition never gives a longer interval, and never one where the milder gives none."""
    if bool(milder.outside):
        assert bool(harsher.outside)
    elif not bool(harsher.outside):
        assert harsher.value <= milder.value * (1 + 1e-12)


@given(SPEED, BORE, st.floats(1.0, 3.0), st.floats(1.0, 3.0))
def test_trade_interval_falls_with_speed_and_bore(speed: float, bore: float, faster: float, larger: float) -> None:
    base = trade.trade_interval(speed, bore, 10.0)
    _not_longer(base, trade.trade_interval(speed * faster, bore, 10.0))
    _not_longer(base, trade.trade_interval(speed, bore * larger, 10.0))


@given(SPEED, BORE, st.floats(0.001, 10.0), st.floats(1.0, 10.0))
def test_trade_interval_is_linear_in_k(speed: float, bore: float, k: float, times: float) -> None:
    one, more = trade.trade_interval(speed, bore, k), trade.trade_interval(speed, bore, k * times)
    np.testing.assert_allclose(more.value, one.value * times, rtol=1e-9)


@given(SPEED, BORE, st.floats(1.0, 3.0), LOAD_RATIO, LOAD_RATIO, TYPE)
def test_catalogue_interval_falls_with_speed_and_load(
    speed: float, bore: float, faster: float, one: float, other: float, kind: str
) -> None:
    light, heavy = max(one, other), min(one, other)

    def hours(n: float, ratio: float) -> Result:
        return catalogue.catalogue_interval(n, bore, 2.0 * bore, bearing_type=kind, load_ratio_c_p=ratio)

    _not_longer(hours(speed, light), hours(speed * faster, light))
    _not_longer(hours(speed, light), hours(speed, heavy))


@given(TEMPERATURE, TEMPERATURE, st.booleans())
def test_heat_shortens(one: float, other: float, may_double: bool) -> None:
    cool, hot = min(one, other), max(one, other)
    m = temperature.temperature_multiplier([cool, hot], may_double=may_double)
    assert m[1] <= m[0] <= (2.0 if may_double else 1.0)
    assert factors.temperature_factor(hot) <= factors.temperature_factor(cool)
    ranges = reduction.high_temperature([cool, hot])
    if not ranges.reason.any():
        assert ranges.low[1] <= ranges.low[0]
        assert ranges.high[1] <= ranges.high[0]


@given(st.floats(70.0, 180.0))
def test_fifteen_kelvin_halve(ring: float) -> None:
    m = temperature.temperature_multiplier([ring, ring + 15.0])
    assert float(m[1] / m[0]) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("factor", "order"),
    [
        (factors.contamination_factor, classes.CONTAMINATIONS),
        (factors.moisture_factor, classes.MOISTURES),
        (factors.position_factor, classes.ORIENTATIONS),
    ],
)
def test_factors_fall_with_every_severity_class(factor: object, order: tuple[str, ...]) -> None:
    assert (np.diff(factor(list(order))) < 0).all()  # type: ignore[operator]


@given(SPEED, BORE, SHORT_TYPE, st.data())
def test_side_by_side_falls_with_every_severity(speed: float, bore: float, kind: str, data: st.DataObject) -> None:
    name, order = data.draw(
        st.sampled_from(
            [
                ("contamination", classes.CONTAMINATIONS),
                ("moisture", classes.MOISTURES),
                ("orientation", classes.ORIENTATIONS),
                ("air_flow", reduction.AIR_FLOWS),
            ]
        )
    )
    mild = data.draw(st.integers(0, len(order) - 2))
    pair = [order[mild], order[data.draw(st.integers(mild + 1, len(order) - 1))]]
    found = side_by_side(speed, bore, 2.0 * bore, bearing_type=kind, **{name: pair})
    for interval in (found.trade.interval, found.catalogue.interval, found.reduction.shortest, found.reduction.longest):
        value = np.broadcast_to(interval.value, (2,))
        assert np.isnan(value).all() or value[1] <= value[0] * (1 + 1e-12)


@given(st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_vibration_factor_falls(one: float, other: float) -> None:
    assert factors.vibration_factor(max(one, other)) <= factors.vibration_factor(min(one, other))


@given(SPEED, BORE, st.floats(1.2, 3.0), st.floats(1.0, 100.0))
def test_metric_equals_imperial(speed: float, bore: float, ratio: float, width: float) -> None:
    units = pint.get_application_registry()
    inches = [units.Quantity(value, "mm").to("inch").magnitude for value in (bore, bore * ratio, width)]
    back = [inch * quantity.INCH_MM for inch in inches]
    np.testing.assert_allclose(
        trade.trade_interval(speed, back[0], 10.0).value, trade.trade_interval(speed, bore, 10.0).value, rtol=1e-6
    )
    ounces = float(quantity.ounces(quantity.relubrication_quantity(bore * ratio, width)))
    assert ounces == pytest.approx(0.005 * 25.4**2 / 28.349523125 * inches[1] * inches[2], rel=1e-9)


@given(st.lists(st.tuples(SPEED, BORE, TYPE, LOAD_RATIO, TEMPERATURE), min_size=1, max_size=8))
def test_many_equal_one_by_one(rows: list[tuple[float, float, str, float, float]]) -> None:
    speed, bore, kind, ratio, ring = (list(column) for column in zip(*rows, strict=True))
    outside = [2.0 * value for value in bore]
    interval = catalogue.catalogue_interval(speed, bore, outside, bearing_type=kind, load_ratio_c_p=ratio)
    by_trade = trade.trade_interval(speed, bore, factors.design_factor(kind))
    multiplier = temperature.temperature_multiplier(ring, may_double=catalogue.may_double(kind))
    for i in range(len(rows)):
        one = catalogue.catalogue_interval(speed[i], bore[i], outside[i], bearing_type=kind[i], load_ratio_c_p=ratio[i])
        np.testing.assert_allclose(interval.value[i], one.value, rtol=1e-13)
        assert interval.reason[i] == one.reason
        one = trade.trade_interval(speed[i], bore[i], factors.design_factor(kind[i]))
        np.testing.assert_allclose(by_trade.value[i], one.value, rtol=1e-13)
        assert multiplier[i] == temperature.temperature_multiplier(ring[i], may_double=catalogue.may_double(kind[i]))


@given(SPEED, BORE, TYPE, st.floats(0.5, 50.0), TEMPERATURE, st.sampled_from(classes.SEALS))
def test_never_negative_and_nan_exactly_outside(
    speed: float, bore: float, kind: str, ratio: float, ring: float, seal: str
) -> None:
    found = side_by_side(
        speed, bore, 1.9 * bore, bearing_type=kind, load_ratio_c_p=ratio, ring_temperature_degc=ring, seal=seal
    )
    for interval in (found.trade.interval, found.catalogue.interval, found.reduction.shortest, found.reduction.longest):
        assert np.isnan(interval.value) == interval.outside
        assert bool(interval.outside) or interval.value > 0
        assert bool(interval.explain()) == bool(interval.outside)


@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0), st.floats(0.0, 6.0), st.floats(0.0, 6.0), TYPE)
def test_a_iso_rises_with_film_and_cleanliness(k1: float, k2: float, x1: float, x2: float, kind: str) -> None:
    factor = life_modification.life_modification_factor
    low, high = factor(min(k1, k2), x1, kind), factor(max(k1, k2), x1, kind)
    assert 0.1 <= high.value <= 50.0
    assert high.value >= low.value * (1 - 1e-3)  # the printed constants fall 0.04 % at κ = 0.4
    assert factor(k1, max(x1, x2), kind).value >= factor(k1, min(x1, x2), kind).value * (1 - 1e-12)


@given(st.floats(20.0, 1000.0), st.floats(0.05, 0.3), TEMPERATURE, TEMPERATURE)
def test_viscosity_falls_with_temperature(v40: float, share: float, one: float, other: float) -> None:
    v100 = max(v40 * share, 2.1)
    assume(v100 < 0.9 * v40)
    cool, hot = viscosity.viscosity_at([min(one, other), max(one, other)], v40, v100).value
    assert np.isnan(hot) or hot <= cool * (1 + 1e-12)
    ends = viscosity.viscosity_at([40.0, 100.0], v40, v100).value
    np.testing.assert_allclose(ends, [v40, v100], rtol=1e-9)


@given(st.floats(10.0, 1000.0), st.floats(1.01, 1.5))
def test_viscosity_index_rises_with_the_hot_viscosity(v40: float, times: float) -> None:
    v100 = max(2.1, v40**0.55)
    assume(v100 * times < 0.9 * v40)
    low, high = viscosity_index.viscosity_index(v40, [v100, v100 * times]).value
    assert high > low


@given(SPEED, st.floats(20.0, 1000.0), st.floats(1.01, 3.0))
def test_rated_viscosity_falls_with_speed_and_size(speed: float, pitch: float, times: float) -> None:
    rated = viscosity_ratio.rated_viscosity
    assert rated(speed * times, pitch) <= rated(speed, pitch) * (1 + 1e-9)
    assert rated(speed, pitch * times) < rated(speed, pitch)


@given(st.floats(0.01, 1.0), st.floats(-10.0, 110.0), st.floats(1.0, 2.0), st.floats(0.0, 40.0))
def test_grease_life_falls_with_speed_and_heat(share: float, degc: float, faster: float, hotter: float) -> None:
    for grease in grease_life.EQUATIONS:
        base = grease_life.sealed_grease_life(share, degc, grease)
        _not_longer(base, grease_life.sealed_grease_life(share * faster, degc, grease))
        _not_longer(base, grease_life.sealed_grease_life(share, degc + hotter, grease))


@given(st.floats(0.0, 1e5), st.floats(0.0, 1e5), st.floats(10.0, 1e5))
def test_share_failed_is_a_distribution(one: float, other: float, life: float) -> None:
    low, high = life_distribution.failed_share([min(one, other), max(one, other)], life)
    assert 0.0 <= low <= high <= 1.0
    assert 0.0 <= life_distribution.failing_share(one, other, life) <= 1.0


@given(SPEED, st.floats(2.0, 50.0), TYPE, st.floats(1.0, 3.0))
def test_rating_life_falls_with_speed_and_load(speed: float, ratio: float, kind: str, times: float) -> None:
    base = rating_life.rating_life(speed, ratio, kind).value
    assert rating_life.rating_life(speed * times, ratio, kind).value <= base * (1 + 1e-12)
    assert rating_life.rating_life(speed, ratio * times, kind).value >= base * (1 - 1e-12)


@given(st.floats(0.0, 40.0), st.floats(0.0, 40.0), st.floats(15.1, 50_000.0), st.sampled_from(classes.SUPPORTS))
def test_zones_rise_with_velocity(one: float, other: float, power: float, support: str) -> None:
    found = severity.machine_zone([min(one, other), max(one, other)], power, support, 1500.0).zone
    assert found[0] <= found[1]
    pumps = severity.pump_zone([min(one, other), max(one, other)], power).zone
    assert pumps[0] <= pumps[1]


@given(st.floats(0.1, 500.0), st.floats(0.1, 40.0))
def test_strokes_are_within_half_a_stroke(dose: float, gun: float) -> None:
    count = float(quantity.strokes(dose, gun).value)
    assert count >= 1.0
    assert count == 1.0 or abs(count * gun - dose) <= gun / 2 * (1 + 1e-9)
