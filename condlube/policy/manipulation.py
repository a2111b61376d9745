"""Policy sections of the manipulation stage. What each number means stands in ``default.toml``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Annotated

from condlube.policy.fields import Within
from condlube.schema.words import QUANTITIES

_Positive = Annotated[float, Within(0, 1e6, open_low=True)]
_NotNegative = Annotated[float, Within(0, 1e6)]
_Share = Annotated[float, Within(0, 1)]
_Hours = Annotated[float, Within(0, 24, open_low=True)]
_Count = Annotated[int, Within(1, 10_000)]
_Pair = tuple[float, ...]


@dataclass(frozen=True)
class PhysicalRange:
    """Lowest and highest value that each quantity can take, canonical units."""

    ultrasound: _Pair
    acceleration: _Pair
    kurtosis: _Pair
    crest_factor: _Pair
    velocity: _Pair
    temperature: _Pair
    speed: _Pair
    current: _Pair
    power: _Pair
    load: _Pair
    ambient: _Pair

    def of(self, quantity: str) -> tuple[float, float]:
        """Lowest and highest value of one quantity."""
        low, high = getattr(self, quantity)
        return float(low), float(high)

    def faults(self) -> Iterator[tuple[str, str]]:
        for name in QUANTITIES:
            pair = getattr(self, name)
            if len(pair) != 2 or pair[0] >= pair[1]:
                yield name, "two numbers: lowest, then a higher highest"


@dataclass(frozen=True)
class Coarsest:
    """Largest step between neighbouring values with which a quantity can still be judged, canonical units."""

    ultrasound: _Positive
    acceleration: _Positive
    kurtosis: _Positive
    crest_factor: _Positive
    velocity: _Positive
    temperature: _Positive

    def of(self, quantity: str) -> float:
        """Largest step of one quantity; infinite where none is set."""
        return float(getattr(self, quantity)) if quantity in (f.name for f in fields(self)) else float("inf")


@dataclass(frozen=True)
class Quality:
    """Section ``[quality]``: when a reading or a signal is sound."""

    coverage_min: _Share
    stale_h: _Hours
    fault_share: _Share
    clock_tolerance_h: _NotNegative
    full_scale_share: Annotated[float, Within(0.5, 1)]
    zero_readings: _Count
    frozen_h: _Hours
    frozen_readings: Annotated[int, Within(2, 10_000)]
    frozen_bits: _Positive
    frozen_ambient_k: _Positive
    spike_db: _Positive
    spike_k: _Positive
    erratic_db: _Positive
    erratic_share: _Share
    erratic_steps: _Count
    unit_tolerance: Annotated[float, Within(0, 0.3, open_low=True)]
    unit_readings: Annotated[int, Within(2, 100)]
    coarsest: Coarsest
    range: PhysicalRange


@dataclass(frozen=True)
class Running:
    """Section ``[running]``: when a machine counts as running."""

    speed_share: _Share
    level_share: _Share
    power_floor_kw: _NotNegative
    current_floor_a: _NotNegative
    apart_db: _Positive
    between_share: _Share
    side_share: Annotated[float, Within(0, 0.5)]
    swings: _Count
    contradicted_share: _Share
    hold_h: _Hours
    rest_velocity_mm_s: _NotNegative
    rest_acceleration_g: _NotNegative


@dataclass(frozen=True)
class Summary:
    """Section ``[summary]``: daily summaries."""

    lookback_days: Annotated[int, Within(1, 60)]
    memory_days: Annotated[int, Within(1, 366)]
    lag_h: _Hours
    settle_h: Annotated[float, Within(0, 24)]
    cell_width: Annotated[float, Within(0, 1, open_low=True)]
    cells_max: Annotated[int, Within(1, 8)]
