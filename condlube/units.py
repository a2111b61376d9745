"""Canonical units, and conversion at the door by a units library."""

from __future__ import annotations

from functools import cache
from math import sqrt

from condlube.errors import InvalidArgument

CANONICAL = {
    "ultrasound": "dB",
    "acceleration": "g rms",
    "kurtosis": "1",
    "crest_factor": "1",
    "velocity": "mm/s rms",
    "temperature": "degC",
    "speed": "r/min",
    "current": "A",
    "power": "kW",
    "load": "%",
    "ambient": "degC",
}

# Spelling at the door -> the units library's expression. Peak is taken as that of a sine: sqrt(2) times its rms.
_SPELLINGS = {
    "degC": "degC", "°C": "degC", "C": "degC", "degF": "degF", "°F": "degF", "F": "degF", "K": "kelvin",
    "mm/s": "mm/s", "in/s": "inch/s", "ips": "inch/s", "m/s": "m/s",
    "g": "standard_gravity", "m/s2": "m/s**2", "m/s²": "m/s**2",
    "r/min": "rpm", "rpm": "rpm", "RPM": "rpm", "1/min": "rpm", "Hz": "revolution/second",
    "A": "A", "mA": "mA", "kW": "kW", "W": "W", "MW": "MW", "hp": "hp",
    "%": "percent", "1": "dimensionless", "": "dimensionless",
}  # fmt: skip


@cache
def linear(quantity: str, unit: str) -> tuple[float, float]:
    """Factor and offset that bring ``unit`` to the canonical unit of ``quantity``: canonical = factor·value + offset.

    Decibels are taken as they are. ``Hz`` for speed is shaft frequency. Raises ``InvalidArgument`` for a quantity
    that is not known or a unit that does not measure it.
    """
    if quantity not in CANONICAL:
        raise InvalidArgument("quantity", quantity, "one of " + ", ".join(CANONICAL))
    canonical = CANONICAL[quantity]
    if unit == canonical:
        return 1.0, 0.0
    wanted = f"a unit of {quantity} that converts to {canonical}"
    if quantity == "ultrasound":
        raise InvalidArgument("unit", unit, wanted)
    source, source_peak = _split(unit)
    target, _ = _split(canonical)
    if source not in _SPELLINGS:
        raise InvalidArgument("unit", unit, wanted)
    import pint

    registry = pint.get_application_registry()
    try:
        zero, one = (registry.Quantity(v, _SPELLINGS[source]).to(_SPELLINGS[target]).magnitude for v in (0.0, 1.0))
    except pint.errors.PintError as error:
        raise InvalidArgument("unit", unit, wanted) from error
    peak = 1 / sqrt(2) if source_peak else 1.0
    return round(float(one - zero), 12) * peak, round(float(zero), 12)


def _split(unit: str) -> tuple[str, bool]:
    """Unit without its rms or peak mark, and whether it was a peak."""
    name, _, mark = unit.partition(" ")
    if mark not in ("", "rms", "peak", "pk"):
        return unit, False
    return name, mark in ("peak", "pk")
