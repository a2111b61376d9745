"""What must hold between the fields of one row: a table of rules, and the loop that applies them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from condlube.register.sheet import Sheet


@dataclass(frozen=True)
class Rule:
    """``holds`` is asked with the fields ``of`` a row; when it says no, the first of them is at fault.

    A rule is not asked when one of its fields is empty, unless ``of_empty`` is set. ``expected`` may name the fields.
    """

    of: tuple[str, ...]
    holds: Callable[..., bool]
    expected: str
    of_empty: bool = False


def apply(rules: Iterable[Rule], sheet: Sheet) -> None:
    """Blame every row that breaks a rule."""
    for rule in rules:
        columns = [sheet[name] for name in rule.of]
        for row, fields in enumerate(zip(*columns, strict=True)):
            if (rule.of_empty or None not in fields) and not rule.holds(*fields):
                sheet.blame(row, rule.of[0], rule.expected.format(**dict(zip(rule.of, fields, strict=True))))


def _goes_with(field: str, other: str) -> Rule:
    """``field`` is of use only beside ``other``."""
    return Rule((field, other), lambda own, needed: own is None or needed is not None, f"nothing without {other}", True)


def _no_grease(field: str) -> Rule:
    return Rule((field, "supply"), lambda own, supply: supply != "oil", "nothing: the bearing is lubricated with oil")


def _below(low: str, high: str) -> Rule:
    return Rule((low, high), lambda a, b: a < b, f"less than {high}, which is {{{high}:g}}")


BEARING_RULES: tuple[Rule, ...] = (
    Rule(("outside_diameter_mm", "bore_mm"), lambda outside, bore: bore < outside,
         "more than bore_mm, which is {bore_mm:g}"),
    Rule(("width_mm", "outside_diameter_mm"), lambda width, outside: width <= 2 * outside,
         "at most twice the outside diameter"),
    _below("speed_min_rpm", "speed_rpm"),
    _below("alarm_degc", "trip_degc"),
    _below("housing_degc", "trip_degc"),
    Rule(("supply", "seal"), lambda supply, seal: seal != "sealed" or supply == "none",
         "none: a sealed bearing cannot be regreased"),
    Rule(("shield_side", "seal"), lambda side, seal: seal == "shielded", "nothing, for the bearing is {seal}"),
    Rule(("remote_line_m", "fitting_access"), lambda line, access: access == "remote_line",
         "nothing, for fitting_access is {fitting_access}"),
    Rule(("cavity_shared_with", "bearing_id"), lambda other, own: other != own, "another bearing than itself"),
    _no_grease("grease_assigned"),
    _no_grease("manual_quantity_g"),
    _no_grease("gun_g_per_stroke"),
    _goes_with("manual_interval_basis", "manual_interval_h"),
    _goes_with("manual_reference_degc", "manual_interval_h"),
)  # fmt: skip

GREASE_RULES: tuple[Rule, ...] = (
    _below("temperature_min_degc", "temperature_max_degc"),
    _below("viscosity_100_mm2_s", "viscosity_40_mm2_s"),
)

POINT_RULES: tuple[Rule, ...] = (
    Rule(("valid_from", "valid_to"), lambda first, last: first <= last, "a date up to valid_to, which is {valid_to}"),
)
