"""Policy sections of assessment and advisory; long because every field of ``default.toml`` has its line here.

The meaning of each field is its comment there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Annotated

from condlube.policy.fields import Within, Words
from condlube.schema.words import DEFECT_FINDINGS

Share = Annotated[float, Within(0, 1)]
Probability = Annotated[float, Within(0, 0.9)]
Cost = Annotated[float, Within(0, 1e9)]
Positive = Annotated[float, Within(0, 1e6, open_low=True)]
NotNegative = Annotated[float, Within(0, 1e6)]
Days = Annotated[float, Within(0, 3660)]
Bits = Annotated[tuple[float, ...], Within(-40, 40)]
Anchors = Annotated[tuple[float, ...], Within(-1e6, 1e6)]

BEARING_FINDINGS = (*DEFECT_FINDINGS, "damage")


@dataclass(frozen=True)
class Life:
    """Section ``[life]``."""

    method: Annotated[str, Words(("trade_formula", "catalogue_rule"))]
    max_interval_h: Positive
    cap_months: Positive
    standing_dry_months: Positive
    standing_exposed_months: Positive
    rate_days: Annotated[int, Within(1, 366)]


@dataclass(frozen=True)
class Prior:
    """Section ``[prior]``."""

    starved_at_interval: Annotated[float, Within(0.0001, 0.5)]
    weibull_slope: Annotated[float, Within(0.5, 10)]
    x_without_interval: Share
    unsuitable_grease_factor: Annotated[float, Within(1, 100)]
    overfilled: Probability
    overfilled_normal_dose: Probability
    overfilled_heavy_dose: Probability
    heavy_dose_ratio: Annotated[float, Within(1, 100)]
    overfilled_half_life_h: Positive
    overfilled_half_lives_per_interval: Positive
    supply_fault: Probability
    supply_fault_half_life_x: Positive
    damaged: Probability
    damaged_max: Probability
    damaged_pf_interval_h: Positive
    machine_fault: Probability
    instrument_fault: Probability
    instrument_fault_rough: Probability
    instrument_rough_share: Annotated[float, Within(0, 1, open_low=True)]
    others_max: Annotated[float, Within(0.5, 0.999)]
    inspected_factor: Annotated[float, Within(0, 1, open_low=True)]
    inspected_half_life_d: Positive
    finding_days: Days

    def faults(self) -> Iterator[tuple[str, str]]:
        if self.damaged_max < self.damaged:
            yield "damaged_max", f"at least damaged = {self.damaged:g}"
        if self.instrument_fault_rough < self.instrument_fault:
            yield "instrument_fault_rough", f"at least instrument_fault = {self.instrument_fault:g}"
        highest = (
            self.overfilled + max(self.overfilled_normal_dose, self.overfilled_heavy_dose) + self.supply_fault
            + self.damaged_max + self.machine_fault + self.instrument_fault_rough
        )  # fmt: skip
        if highest > self.others_max:
            yield "others_max", f"at least {highest:g}, the sum of the highest priors beside starved"


@dataclass(frozen=True)
class Stability:
    """Section ``[stability]``: when a change counts."""

    sound_readings: Annotated[int, Within(1, 10)]
    noise_spreads: NotNegative
    steady_spreads: NotNegative
    excess_taken: NotNegative


@dataclass(frozen=True)
class _States:
    """Bits against adequate, per state, at the anchors."""

    starved: Bits
    overfilled: Bits
    supply_fault: Bits
    damaged: Bits
    machine_fault: Bits
    instrument_fault: Bits

    @property
    def bits(self) -> tuple[tuple[float, ...], ...]:
        """One row per state other than adequate, in the order of ``words.STATES``."""
        return (
            self.starved, self.overfilled, self.supply_fault, self.damaged, self.machine_fault, self.instrument_fault,
        )  # fmt: skip

    @property
    def anchors(self) -> tuple[float, ...]:
        """Where the bits hold; a class counts from 0."""
        raise NotImplementedError

    def faults(self) -> Iterator[tuple[str, str]]:
        for f in fields(_States):
            if len(getattr(self, f.name)) != len(self.anchors):
                yield f.name, f"{len(self.anchors)} numbers, one for each anchor"


@dataclass(frozen=True)
class Curve(_States):
    """A weight curve: linear between the anchors, constant beyond."""

    at: Anchors

    @property
    def anchors(self) -> tuple[float, ...]:
        return self.at

    def faults(self) -> Iterator[tuple[str, str]]:
        if len(self.at) < 2 or any(b <= a for a, b in zip(self.at, self.at[1:], strict=False)):
            yield "at", "two or more anchors, each above the one before"
        yield from super().faults()


class _Classes(_States):
    """Weights of named classes, one number each."""

    classes: tuple[str, ...]

    @property
    def anchors(self) -> tuple[float, ...]:
        return tuple(float(k) for k in range(len(self.classes)))


@dataclass(frozen=True)
class Onset(_Classes):
    """Section ``[weights.onset]``."""

    classes = ("gradual", "abrupt")


@dataclass(frozen=True)
class Response(_Classes):
    """Section ``[weights.response]``."""

    classes = ("held", "returned", "none", "worse")


@dataclass(frozen=True)
class Zone(_Classes):
    """Section ``[weights.zone]``."""

    classes = ("A", "B", "C", "D")


@dataclass(frozen=True)
class TemperatureLimit(_Classes):
    """Section ``[weights.temperature_limit]``."""

    classes = ("below", "alarm", "grease_limit", "trip")


@dataclass(frozen=True)
class Electrical(_Classes):
    """Section ``[weights.electrical]``."""

    classes = ("pattern",)


@dataclass(frozen=True)
class Finding(_Classes):
    """Section ``[weights.finding]``."""

    classes = BEARING_FINDINGS


@dataclass(frozen=True)
class Weights:
    """Section ``[weights]``: what each source says about each state, in bits."""

    shared_share: Share
    growth_from: NotNegative
    gradual_from: Annotated[float, Within(1, 100, open_low=True)]
    velocity_step: Share
    ultrasound: Curve
    acceleration: Curve
    impulsiveness: Curve
    velocity: Curve
    temperature: Curve
    growth: Curve
    collector_share: Curve
    onset: Onset
    response: Response
    zone: Zone
    temperature_limit: TemperatureLimit
    electrical: Electrical
    finding: Finding


@dataclass(frozen=True)
class CostRow:
    """Cost of one action in each state."""

    adequate: Cost
    starved: Cost
    overfilled: Cost
    supply_fault: Cost
    damaged: Cost
    machine_fault: Cost
    instrument_fault: Cost


@dataclass(frozen=True)
class HoldRow:
    """Cost of holding in each state; starved is solved for, overfilled rises after a greasing."""

    adequate: Cost
    overfilled_fresh: Cost
    overfilled: Cost
    fresh_days: Days
    full_days: Days
    supply_fault: Cost
    damaged: Cost
    machine_fault: Cost
    instrument_fault: Cost

    def faults(self) -> Iterator[tuple[str, str]]:
        if self.full_days <= self.fresh_days:
            yield "full_days", f"above fresh_days = {self.fresh_days:g}"


@dataclass(frozen=True)
class Costs:
    """Section ``[cost]``."""

    grease: CostRow
    hold: HoldRow
    inspect: CostRow

    def faults(self) -> Iterator[tuple[str, str]]:
        for state in ("supply_fault", "damaged", "machine_fault", "instrument_fault"):
            others = min(getattr(self.grease, state), getattr(self.hold, state))
            if getattr(self.inspect, state) > others:
                yield f"inspect.{state}", f"at most {others:g}: nothing answers this state better than to inspect it"


@dataclass(frozen=True)
class AbsoluteLimit:
    """Section ``[guard.absolute_limit]``."""

    fresh_days: Days


@dataclass(frozen=True)
class ReplacementWindow:
    """Section ``[guard.replacement_window]``."""

    from_x: Annotated[float, Within(0, 100)]
    quiet_bits: NotNegative


@dataclass(frozen=True)
class HistoryUnknown:
    """Section ``[guard.history_unknown]``."""

    inspect_per_week: Annotated[int, Within(1, 10_000)]
    older_than_days: Days


@dataclass(frozen=True)
class JustGreased:
    """Section ``[guard.just_greased]``."""

    interval_share: Share
    least_running_h: NotNegative
    most_days: Days


@dataclass(frozen=True)
class Unsettled:
    """Section ``[guard.unsettled]``."""

    over_before_k: NotNegative
    after_h: NotNegative
    until_days: Days
    rising_after_h: NotNegative
    rising_k: NotNegative
    unexplained_k: NotNegative
    unexplained_nights: Annotated[int, Within(1, 366)]
    shared_share: Share


@dataclass(frozen=True)
class EarlyRise:
    """Section ``[guard.early_rise]``."""

    over_db: NotNegative
    sound_readings: Annotated[int, Within(1, 10)]
    inspected_db: NotNegative


@dataclass(frozen=True)
class LongOverdue:
    """Section ``[guard.long_overdue]``."""

    x: Annotated[float, Within(1, 100)]
    inspected_days: Days
    sealed_days: Days


@dataclass(frozen=True)
class ExtensionCap:
    """Section ``[guard.extension_cap]``."""

    x_watched: Annotated[float, Within(1, 100)]
    x_moderate: Annotated[float, Within(1, 100)]
    x_severe: Annotated[float, Within(1, 100)]

    def faults(self) -> Iterator[tuple[str, str]]:
        if not self.x_severe <= self.x_moderate <= self.x_watched:
            yield "x_moderate", f"from x_severe = {self.x_severe:g} to x_watched = {self.x_watched:g}"


@dataclass(frozen=True)
class NotDryness:
    """Section ``[guard.not_dryness]``."""

    likelier: Annotated[float, Within(1, 100)]


@dataclass(frozen=True)
class Deferred:
    """Section ``[guard.deferred]``."""

    rise_bits: NotNegative
    change_days: Days


@dataclass(frozen=True)
class Guards:
    """Section ``[guard]``."""

    absolute_limit: AbsoluteLimit
    replacement_window: ReplacementWindow
    history_unknown: HistoryUnknown
    just_greased: JustGreased
    unsettled: Unsettled
    early_rise: EarlyRise
    long_overdue: LongOverdue
    extension_cap: ExtensionCap
    not_dryness: NotDryness
    deferred: Deferred


@dataclass(frozen=True)
class Due:
    """Section ``[due]``."""

    interval_spread: Annotated[float, Within(1, 5)]
    horizon_days: Annotated[int, Within(1, 36_600)]
    urgent_days: Days
    ultrasound_days: Days
    acceleration_days: Days
    impulsiveness_days: Days
    velocity_days: Days
    temperature_days: Days
    growth_days: Days
    supply_days: Days
    finding_days: Days
    instrument_days: Days
    survey_days: Days
    grease_days: Days


@dataclass(frozen=True)
class Dose:
    """Section ``[dose]``."""

    ceiling_ratio: Annotated[float, Within(0.1, 3)]
    shots: Annotated[int, Within(1, 20)]
    shot_wait_min: NotNegative
    shots_starved_to_damaged: NotNegative
    check_after_h: NotNegative
    normal_rise_k: NotNegative
    normal_rise_h: NotNegative


@dataclass(frozen=True)
class Change:
    """Section ``[change]``."""

    steps: Annotated[int, Within(2, 1000)]
