"""``condlube calc``: the handbook calculations, each shown with its working."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, TypeVar

import click

from condlube.errors import CondlubeError

Command = TypeVar("Command", bound=Callable[..., Any])

TYPES = (
    "deep_groove_ball angular_contact_ball self_aligning_ball cylindrical_roller needle_roller tapered_roller "
    "spherical_roller toroidal_roller thrust_ball cylindrical_roller_thrust spherical_roller_thrust"
)
BASE_OILS = "mineral pao ester pag silicone pfpe unknown"
DIMENSIONS = ("bearing_type", "bore_mm", "outside_diameter_mm", "width_mm", "seal")


class Amount(click.ParamType[float]):
    """A number with an optional unit, brought to the canonical unit of its kind."""

    def __init__(self, kind: str) -> None:
        self.kind = self.name = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text; a number given as a default passes."""
        if isinstance(value, float | int):
            return float(value)
        from condlube.operations.calc.inputs import read

        try:
            return read(self.kind, value)
        except CondlubeError as error:
            self.fail(str(error), param, ctx)


def _amount(flag: str, name: str, kind: str, text: str, **settings: Any) -> Callable[[Command], Command]:
    return click.option(flag, name, type=Amount(kind), help=text, show_default=True, **settings)


def _number(flag: str, name: str, text: str, **settings: Any) -> Callable[[Command], Command]:
    return click.option(flag, name, type=float, help=text, show_default=True, **settings)


def _choice(flag: str, name: str, choices: str, text: str, **settings: Any) -> Callable[[Command], Command]:
    return click.option(flag, name, type=click.Choice(choices.split()), help=text, show_default=True, **settings)


def _bearing(command: Command) -> Command:
    """The options that name a bearing: a designation, or type and dimensions."""
    for option in (
        _choice("--seal", "seal", "open shielded sealed", "Closures, where the designation does not tell."),
        _amount("--width", "width_mm", "length", "Width B, mm (or in); T of tapered, H of thrust bearings."),
        _amount("--outside-diameter", "outside_diameter_mm", "length", "Outside diameter D, mm (or in)."),
        _amount("--bore", "bore_mm", "length", "Bore d, mm (or '2.559 in')."),
        _choice("--type", "bearing_type", TYPES, "Bearing type, with dimensions instead of a designation."),
        click.argument("designation", default=""),
    ):
        command = option(command)
    return command


SPEED = _amount("--speed", "speed_rpm", "speed", "Shaft speed, r/min (or '30 Hz').", required=True)
LOAD_RATIO = _number("--load-ratio", "load_ratio_c_p", "Load ratio C/P.", default=15.0)
MOISTURE = _choice("--moisture", "moisture", "dry humid condensation water", "Moisture at the bearing.", default="dry")
POSITION = _choice(
    "--position", "orientation", "horizontal inclined vertical", "Bore centreline.", default="horizontal"
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print inputs, factors, results and warnings as JSON.")


def _show(work: Callable[..., Any], options: dict[str, Any], *, bearing_optional: bool = False) -> None:
    """Work the page and print it; an input fault is a usage error (exit code 2)."""
    from condlube.operations.calc import working
    from condlube.operations.calc.inputs import bearing

    as_json = options.pop("as_json")
    try:
        if "bearing_type" in options:
            given = {name: options.pop(name) for name in DIMENSIONS}
            designation = options.pop("designation")
            if designation or any(given.values()) or not bearing_optional:
                options["bearing"] = bearing(designation, **given)
        page = work(**options)
    except CondlubeError as error:
        raise click.UsageError(str(error)) from error
    if as_json:
        click.echo(json.dumps(working.as_json(page), ensure_ascii=False, indent=2))
    else:
        click.echo(working.as_text(page), nl=False)


@click.group()
def calc() -> None:
    """Handbook calculations, each with its working. Numbers may carry a unit: '2.56 in', '160 F', '0.3 in/s peak'."""


@calc.command()
@_bearing
@SPEED
@_amount("--housing-temperature", "housing_temperature_degc", "temperature", "Housing, °C (or F).", default=60.0)
@_amount("--ring-temperature", "ring_temperature_degc", "temperature", "Ring, °C; housing + 10 K where not given.")
@LOAD_RATIO
@_choice(
    "--contamination",
    "contamination",
    "light_nonabrasive heavy_nonabrasive light_abrasive heavy_abrasive",
    "Dust at the bearing.",
    default="light_nonabrasive",
)
@MOISTURE
@_amount("--vibration", "velocity_mm_s_rms", "velocity", "Velocity, mm/s rms (or 'in/s peak').", default=0.0)
@POSITION
@_choice("--rotating-ring", "rotating_ring", "inner outer", "Which ring turns.", default="inner")
@_choice("--air-flow", "air_flow", "none slight strong", "Air current through the bearing.", default="none")
@_number("--manual-interval", "manual_interval_h", "Interval of the machine's manual, running hours.")
@_choice("--manual-basis", "manual_basis", "L01 L10 calendar unknown", "What that interval means.", default="unknown")
@AS_JSON
def interval(**options: Any) -> None:
    """Relubrication interval by the manual and three methods side by side."""
    from condlube.operations.calc.interval import interval as work

    _show(work, options)


@calc.command()
@_bearing
@_choice("--entry", "entry", "side outer_ring_groove", "Where grease enters; W33 means the groove.")
@_amount("--mass", "mass_kg", "mass", "Mass of the bearing, kg (or lb): gives free space and first fill.")
@_amount("--gun", "gun_g_per_stroke", "grease", "Calibrated gun, g per stroke (or oz): gives strokes.")
@_number("--density", "density_g_cm3", "Density of the grease, g/cm³.", default=0.9)
@_number("--fill", "fill_share", "Share of the free space at first fill.", default=0.3)
@AS_JSON
def quantity(**options: Any) -> None:
    """Grease per relubrication, first fill and strokes."""
    from condlube.operations.calc.quantity import quantity as work

    _show(work, options)


@calc.command()
@_bearing
@_amount("--v40", "viscosity_40_mm2_s", "viscosity", "Base oil at 40 °C, mm²/s (cSt).", required=True)
@_amount("--v100", "viscosity_100_mm2_s", "viscosity", "Base oil at 100 °C, mm²/s (cSt).", required=True)
@_amount("--temperature", "temperature_degc", "temperature", "Operating temperature, °C (or F).", required=True)
@_amount("--speed", "speed_rpm", "speed", "Shaft speed, r/min: with a bearing gives κ.")
@AS_JSON
def viscosity(**options: Any) -> None:
    """Viscosity at temperature, index, class, and κ for a bearing."""
    from condlube.operations.calc.viscosity import viscosity as work

    _show(work, options, bearing_optional=True)


@calc.command()
@_bearing
@SPEED
@_number("--load-ratio", "load_ratio_c_p", "Load ratio C/P; C over P where both are given.")
@_amount("--load", "load_n", "force", "Equivalent load P, N (or 'kN', 'lbf').")
@_amount("--c", "dynamic_rating_n", "force", "Dynamic load rating C, N.")
@_amount("--c0", "static_rating_n", "force", "Static load rating C0, N.")
@_amount("--cu", "fatigue_limit_n", "force", "Fatigue load limit Cu, N (prevails over C0).")
@_number("--kappa", "kappa", "Viscosity ratio κ, see 'calc viscosity'.")
@_choice(
    "--cleanliness",
    "cleanliness",
    "high_cleanliness normal_cleanliness slight_to_typical severe very_severe",
    "Degree of contamination.",
    default="normal_cleanliness",
)
@click.option("--reliability", "reliability_percent", type=int, default=90, help="Reliability, %: 90 or 95 to 99.")
@_number("--elapsed", "elapsed_h", "Running hours so far: gives the share failed by fatigue.")
@AS_JSON
def life(**options: Any) -> None:
    """Rating life L10h and the modified life of ISO 281."""
    from condlube.operations.calc.life import life as work

    _show(work, options)


@calc.command("grease-life")
@_bearing
@SPEED
@_amount("--temperature", "temperature_degc", "temperature", "Bearing temperature, °C (or F).", required=True)
@_amount("--limiting-speed", "limiting_speed_rpm", "speed", "Limiting speed of the bearing with grease, r/min.")
@_choice("--grease", "grease", "general wide_range", "Mineral lithium, or synthetic wide-range.", default="general")
@_number("--load-share", "load_share_p_c", "Load P/C.", default=0.1)
@_number("--elapsed", "elapsed_h", "Running hours since fitted.", default=0.0)
@click.option("--as-of", type=click.DateTime(["%Y-%m-%d"]), help="Date of the question: gives dates, probabilities.")
@_number("--hours-per-day", "running_h_per_day", "Running hours a day from now on.", default=24.0)
@_number("--horizon", "horizon_days", "Horizon of the probability, days.", default=90.0)
@AS_JSON
def grease_life(**options: Any) -> None:
    """Grease life of a sealed or shielded ball bearing, and when it ends."""
    from condlube.operations.calc.grease_life import grease_life as work

    if options["as_of"] is not None:
        options["as_of"] = options["as_of"].date()
    _show(work, options)


@calc.command()
@click.argument("in_service")
@click.argument("assigned")
@click.option("--same-product", is_flag=True, help="Both are known to be the same product.")
@_choice("--base-oil-in-service", "base_oil_in_service", BASE_OILS, "Base oil in service.", default="unknown")
@_choice("--base-oil-assigned", "base_oil_assigned", BASE_OILS, "Base oil assigned.", default="unknown")
@AS_JSON
def compatibility(**options: Any) -> None:
    """Whether the ASSIGNED thickener may follow the one IN_SERVICE (lithium, polyurea, ..., unknown)."""
    from condlube.operations.calc.compatibility import compatibility as work

    _show(work, options)


@calc.command()
@_amount("--velocity", "velocity_mm_s_rms", "velocity", "Broadband velocity, mm/s rms (or 'in/s peak').", required=True)
@_amount("--power", "power_kw", "power", "Rated power, kW (or 'hp').", required=True)
@SPEED
@_choice("--support", "support", "rigid flexible", "Support in the direction of measurement.", default="rigid")
@_choice("--machine", "machine", "machine pump", "Pumps have their own standard.", default="machine")
@_choice("--category", "category", "I II", "Category of a pump: I critical, II general.", default="II")
@_amount("--baseline", "baseline_mm_s_rms", "velocity", "Baseline, mm/s rms: gives the alarm setting.")
@AS_JSON
def zone(**options: Any) -> None:
    """Vibration zone by ISO 20816-3, or ISO 10816-7 for pumps."""
    from condlube.operations.calc.zone import zone as work

    _show(work, options)


@calc.command()
@_amount("--velocity", "velocity_mm_s_rms", "velocity", "Velocity, mm/s rms (or 'in/s peak').")
@_number("--frequency", "frequency_hz", "Frequency, Hz: gives the displacement.")
@_number("--level", "level_db", "Level difference, dB: gives the amplitude ratio.")
@AS_JSON
def vibration(**options: Any) -> None:
    """Peak, rms, displacement and decibels."""
    from condlube.operations.calc.vibration import vibration as work

    _show(work, options)


@calc.command()
@_bearing
@SPEED
@_amount("--ring-temperature", "ring_temperature_degc", "temperature", "Ring temperature, °C (or F).", required=True)
@_amount("--start-temperature", "start_temperature_degc", "temperature", "Coldest start, °C.", default=10.0)
@LOAD_RATIO
@MOISTURE
@POSITION
@click.option("--thickener", default="unknown", show_default=True, help="Thickener, such as lithium_complex.")
@_amount("--v40", "viscosity_40_mm2_s", "viscosity", "Base oil at 40 °C, mm²/s.")
@_amount("--v100", "viscosity_100_mm2_s", "viscosity", "Base oil at 100 °C, mm²/s.")
@_amount("--grease-min", "temperature_min_degc", "temperature", "Lowest service temperature of the grease, °C.")
@_amount("--grease-max", "temperature_max_degc", "temperature", "Highest service temperature of the grease, °C.")
@click.option("--ep/--no-ep", "extreme_pressure", default=None, help="Whether the grease carries EP additives.")
@click.option("--nlgi", default="", help="NLGI number.")
@click.option("--din", "din_code", default="", help="Code by DIN 51502, such as KP2K-20: fills in what is not given.")
@click.option("--iso", "iso_code", default="", help="Code by ISO 6743-9, such as 'ISO-L-XBCEB 2'.")
@AS_JSON
def suitability(**options: Any) -> None:
    """Whether a grease is right or wrong for a bearing, aspect by aspect."""
    from condlube.operations.calc.suitability import suitability as work

    _show(work, options)


@calc.command()
@click.argument("code", default="")
@_number("--penetration", "penetration_01mm", "Worked penetration, 0.1 mm: gives the NLGI number.")
@_amount("--v40", "viscosity_40_mm2_s", "viscosity", "Base oil at 40 °C, mm²/s: gives the ISO VG class.")
@AS_JSON
def grease(**options: Any) -> None:
    """What a grease CODE (DIN 51502, ISO 6743-9) says; NLGI number, ISO VG class."""
    from condlube.operations.calc.grease import grease as work

    _show(work, options)


@calc.command()
@click.argument("designation")
@AS_JSON
def dimensions(**options: Any) -> None:
    """What a bearing designation says: type, dimensions, closures, clearance."""
    from condlube.operations.calc.dimensions import dimensions as work

    _show(work, options)
