import math

import pint
import pytest

from condlube.errors import InvalidArgument
from condlube.units import CANONICAL, linear

REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "canonical"),
    [
        ("temperature", "degF", 212.0, 100.0),  # definition of the Fahrenheit scale
        ("temperature", "K", 273.15, 0.0),  # definition of the Celsius scale
        ("velocity", "in/s rms", 1.0, 25.4),  # the international inch
        ("velocity", "in/s peak", 0.2, REGISTRY.Quantity(0.2, "inch/s").to("mm/s").magnitude / math.sqrt(2)),
        ("acceleration", "m/s2", 9.80665, 1.0),  # standard gravity, ISO 80000-3
        ("speed", "Hz", 50.0, 3000.0),
        ("power", "hp", 1.0, 0.7456998715822702),  # 550 ft lbf/s
        ("current", "mA", 1500.0, 1.5),
        ("ultrasound", "dB", 31.0, 31.0),
    ],
)
def test_units_come_to_the_canonical_one(quantity, unit, value, canonical):
    factor, offset = linear(quantity, unit)
    assert factor * value + offset == pytest.approx(canonical, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("quantity", list(CANONICAL))
def test_the_canonical_unit_is_left_alone(quantity):
    assert linear(quantity, CANONICAL[quantity]) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [("temperature", "mm/s"), ("velocity", "furlong"), ("ultrasound", "V"), ("speed", "m/s rms"), ("speed", "Hz x")],
)
def test_a_unit_of_something_else_is_refused(quantity, unit):
    with pytest.raises(InvalidArgument, match="unit"):
        linear(quantity, unit)


def test_an_unknown_quantity_is_refused():
    with pytest.raises(InvalidArgument, match="quantity = 'smell'"):
        linear("smell", "dB")
