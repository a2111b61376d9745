"""Policy sections of the detection stage. What each number means stands in ``default.toml``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Annotated

from condlube.policy.fields import Within

_Positive = Annotated[float, Within(0, 1e6, open_low=True)]
_Share = Annotated[float, Within(0, 1)]
_Count = Annotated[int, Within(1, 10_000)]


@dataclass(frozen=True)
class PerQuantity:
    """One positive number for each measured quantity."""

    ultrasound: _Positive
    acceleration: _Positive
    kurtosis: _Positive
    crest_factor: _Positive
    velocity: _Positive
    temperature: _Positive

    def of(self, quantity: str) -> float:
        """The number of one quantity."""
        return float(getattr(self, quantity))


@dataclass(frozen=True)
class Effect:
    """What is believed of an operating variable before any data: mean and standard deviation, per quantity."""

    ultrasound: tuple[float, ...]
    acceleration: tuple[float, ...]
    kurtosis: tuple[float, ...]
    crest_factor: tuple[float, ...]
    velocity: tuple[float, ...]
    temperature: tuple[float, ...]

    def of(self, quantity: str) -> tuple[float, float]:
        """Mean and standard deviation for one quantity."""
        mean, sd = getattr(self, quantity)
        return float(mean), float(sd)

    def faults(self) -> Iterator[tuple[str, str]]:
        for field in fields(self):
            value = getattr(self, field.name)
            if len(value) != 2 or value[1] <= 0:
                yield field.name, "two numbers: mean, and standard deviation above 0"


@dataclass(frozen=True)
class Reference:
    """Section ``[reference]``: reference periods and expected levels."""

    settling_days: Annotated[int, Within(0, 60)]
    min_nights: Annotated[int, Within(3, 365)]
    full_nights: Annotated[int, Within(3, 365)]
    range_nights: Annotated[int, Within(0, 365)]
    max_days: Annotated[int, Within(3, 365)]
    abandon_days: Annotated[int, Within(3, 3650)]
    extend_nights: Annotated[int, Within(3, 365)]
    extend_days: Annotated[int, Within(3, 365)]
    route_min_readings: Annotated[int, Within(3, 100)]
    route_full_readings: Annotated[int, Within(3, 100)]
    gate_spreads: _Positive
    tolerance_spreads: Annotated[float, Within(0, 10)]
    family_min: _Count
    family_spreads: _Positive
    speed_margin: _Share
    load_margin: _Share
    max_model_spreads: _Positive
    ambient_margin_k: PerQuantity
    spread_floor: PerQuantity
    family_floor: PerQuantity
    speed_effect: Effect
    load_effect: Effect
    ambient_effect: Effect

    def faults(self) -> Iterator[tuple[str, str]]:
        if self.full_nights < self.min_nights:
            yield "full_nights", "at least min_nights"
        if self.route_full_readings < self.route_min_readings:
            yield "route_full_readings", "at least route_min_readings"
        if self.extend_days < self.extend_nights:
            yield "extend_days", "at least extend_nights"
        if self.abandon_days < self.max_days:
            yield "abandon_days", "at least max_days"


@dataclass(frozen=True)
class Detection:
    """Section ``[detection]``: deviations, growth, onset, charts, responses and common shifts."""

    window_days: Annotated[int, Within(28, 730)]
    slow_shaft_rpm: Annotated[float, Within(0, 10_000)]
    stale_days: _Count
    stale_route_days: _Count
    route_second_days: _Count
    steady_spread: PerQuantity
    large: PerQuantity
    fall: PerQuantity
    silence: PerQuantity
    season_k: Annotated[float, Within(0, 40)]
    raised_spreads: _Positive
    abrupt_days: _Positive
    steady_nights: Annotated[int, Within(1, 14)]
    lately_nights: Annotated[int, Within(3, 30)]
    growth_spreads: _Positive
    growth_days: Annotated[int, Within(2, 60)]
    growth_step: PerQuantity
    ewma_lambda: Annotated[float, Within(0.01, 1)]
    cusum_k: Annotated[float, Within(0, 3)]
    in_control_nights: Annotated[float, Within(50, 100_000)]
    slope_min_weeks: Annotated[int, Within(4, 100)]
    share_min_points: Annotated[int, Within(3, 1000)]
    share_spreads: _Positive
    response_raised: PerQuantity
    response_before_nights: _Count
    response_settle_days: Annotated[int, Within(1, 60)]
    response_held: _Share
    response_back: _Share
    response_back_days: _Count
    response_worse_spreads: _Positive

    def faults(self) -> Iterator[tuple[str, str]]:
        if self.response_back <= self.response_held:
            yield "response_back", "above response_held"
