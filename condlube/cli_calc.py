"""``condlube calc``: the handbook calculations, each shown with its working."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

import click

from condlube.errors import CondlubeError

Command = TypeVar("Command", bound=Callable[..., Any])

TYPES = (
    "deep_groove_ball", "angular_contact_ball", "self_aligning_ball", "cylindrical_roller", "needle_roller",
    "tapered_roller", "spherical_roller", "toroidal_roller", "thrust_ball", "cylindrical_roller_thrust",
    "spherical_roller_thrust",
)  # fmt: skip


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


def _amount(flag: str, kind: str, text: str, **settings: Any) -> Callable[[Command], Command]:
    return click.option(flag, type=Amount(kind), help=text, **settings)


def _choice(flag: str, choices: str | tuple[str, ...], text: str, **settings: Any) -> Callable[[Command], Command]:
    names = tuple(choices.split()) if isinstance(choices, str) else choices
    return click.option(flag, type=click.Choice(names), help=text, show_default=True, **settings)


def _stacked(*decorators: Callable[[Any], Any]) -> Callable[[Command], Command]:
    def apply(command: Command) -> Command:
        for decorator in reversed(decorators):
            command = decorator(command)
        return command

    return apply


AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print inputs, factors, results and warnings as JSON.")
SPEED = _amount("--speed", "speed", "Shaft speed, r/min (or '30 Hz').", required=True)
BEARING = _stacked(
    click.argument("designation", default=""),
    _choice("--type", TYPES, "Bearing type, with dimensions instead of a designation.", default=None),
    _amount("--bore", "length", "Bore d, mm (or '2.559 in')."),
    _amount("--outside-diameter", "length", "Outside diameter D, mm (or in)."),
    _amount("--width", "length", "Width B, mm (or in); T of tapered, H of thrust bearings."),
    _choice("--seal", "open shielded sealed", "Closures, where the designation does not tell.", default=None),
)
LOAD_RATIO = click.option("--load-ratio", type=float, default=15.0, show_default=True, help="Load ratio C/P.")
MOISTURE = _choice("--moisture", "dry humid condensation water", "Moisture at the bearing.", default="dry")
POSITION = _choice("--position", "horizontal inclined vertical", "Bore centreline.", default="horizontal")


def _bearing(options: dict[str, Any]) -> Any:
    from condlube.operations.calc.inputs import bearing

    return bearing(
        options.pop("designation"),
        bearing_type=options.pop("type"),
        bore_mm=options.pop("bore"),
        outside_diameter_mm=options.pop("outside_diameter"),
        width_mm=options.pop("width"),
        seal=options.pop("seal"),
    )


def _show(work: Callable[[], Any], as_json: bool) -> None:
    """Print the page; an input fault is a usage error (exit code 2)."""
    from condlube.operations.calc import working

    try:
        page = work()
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
@BEARING
@SPEED
@_amount("--housing-temperature", "temperature", "Housing temperature, °C (or F).", default=60.0, show_default=True)
@_amount("--ring-temperature", "temperature", "Ring temperature, °C; housing + 10 K where not given.")
@LOAD_RATIO
@_choice(
    "--contamination", "light_nonabrasive heavy_nonabrasive light_abrasive heavy_abrasive", "Dust.",
    default="light_nonabrasive",
)  # fmt: skip
@MOISTURE
@_amount("--vibration", "velocity", "Vibration velocity, mm/s rms (or 'in/s peak').", default=0.0, show_default=True)
@POSITION
@_choice("--rotating-ring", "inner outer", "Which ring turns.", default="inner")
@_choice("--air-flow", "none slight strong", "Air current through the bearing.", default="none")
@click.option("--manual-interval", type=float, help="Interval of the machine's manual, running hours.")
@_choice("--manual-basis", "L01 L10 calendar unknown", "What the manual's interval means.", default="unknown")
@AS_JSON
def interval(as_json: bool, **options: Any) -> None:
    """Relubrication interval by the manual and three methods side by side."""
    from condlube.operations.calc.interval import interval as work

    _show(
        lambda: work(
            _bearing(options),
            options["speed"],
            housing_temperature_degc=options["housing_temperature"],
            ring_temperature_degc=options["ring_temperature"],
            load_ratio_c_p=options["load_ratio"],
            contamination=options["contamination"],
            moisture=options["moisture"],
            velocity_mm_s_rms=options["vibration"],
            orientation=options["position"],
            rotating_ring=options["rotating_ring"],
            air_flow=options["air_flow"],
            manual_interval_h=options["manual_interval"],
            manual_basis=options["manual_basis"],
        ),
        as_json,
    )


@calc.command()
@BEARING
@_choice("--entry", "side outer_ring_groove", "Where grease enters; W33 means the groove.", default=None)
@_amount("--mass", "mass", "Mass of the bearing, kg (or lb): gives free space and first fill.")
@_amount("--gun", "grease", "Calibrated gun, g per stroke (or oz): gives strokes.")
@click.option("--density", type=float, default=0.9, show_default=True, help="Density of the grease, g/cm³.")
@click.option("--fill", type=float, default=0.3, show_default=True, help="Share of the free space at first fill.")
@AS_JSON
def quantity(as_json: bool, **options: Any) -> None:
    """Grease per relubrication, first fill and strokes."""
    from condlube.operations.calc.quantity import quantity as work

    _show(
        lambda: work(
            _bearing(options),
            entry=options["entry"],
            mass_kg=options["mass"],
            gun_g_per_stroke=options["gun"],
            density_g_cm3=options["density"],
            fill_share=options["fill"],
        ),
        as_json,
    )


@calc.command()
@BEARING
@_amount("--v40", "viscosity", "Base oil viscosity at 40 °C, mm²/s (cSt).", required=True)
@_amount("--v100", "viscosity", "Base oil viscosity at 100 °C, mm²/s (cSt).", required=True)
@_amount("--temperature", "temperature", "Operating temperature, °C (or F).", required=True)
@_amount("--speed", "speed", "Shaft speed, r/min: with a bearing gives κ.")
@AS_JSON
def viscosity(as_json: bool, **options: Any) -> None:
    """Viscosity at temperature, index, class, and κ for a bearing."""
    from condlube.operations.calc.viscosity import viscosity as work

    with_bearing = bool(options["designation"] or options["bore"])
    _show(
        lambda: work(
            options["v40"],
            options["v100"],
            options["temperature"],
            bearing=_bearing(options) if with_bearing else None,
            speed_rpm=options["speed"],
        ),
        as_json,
    )


@calc.command()
@BEARING
@SPEED
@click.option("--load-ratio", type=float, required=True, help="Load ratio C/P.")
@_amount("--load", "force", "Equivalent load P, N (or 'kN', 'lbf').")
@_amount("--c0", "force", "Static load rating C0, N.")
@_amount("--cu", "force", "Fatigue load limit Cu, N (prevails over C0).")
@click.option("--kappa", type=float, help="Viscosity ratio κ, see 'calc viscosity'.")
@_choice(
    "--cleanliness", "high_cleanliness normal_cleanliness slight_to_typical severe very_severe", "Contamination.",
    default="normal_cleanliness",
)  # fmt: skip
@click.option("--reliability", type=int, default=90, show_default=True, help="Reliability, %: 90 or 95 to 99.")
@click.option("--elapsed", type=float, help="Running hours so far: gives the share failed by fatigue.")
@AS_JSON
def life(as_json: bool, **options: Any) -> None:
    """Rating life L10h and the modified life of ISO 281."""
    from condlube.operations.calc.life import life as work

    _show(
        lambda: work(
            _bearing(options),
            options["speed"],
            options["load_ratio"],
            load_n=options["load"],
            static_rating_n=options["c0"],
            fatigue_limit_n=options["cu"],
            kappa=options["kappa"],
            cleanliness=options["cleanliness"],
            reliability_percent=options["reliability"],
            elapsed_h=options["elapsed"],
        ),
        as_json,
    )


@calc.command("grease-life")
@BEARING
@SPEED
@_amount("--temperature", "temperature", "Bearing temperature, °C (or F).", required=True)
@_amount("--limiting-speed", "speed", "Limiting speed of the bearing with grease, r/min.")
@_choice("--grease", "general wide_range", "Mineral lithium grease, or synthetic wide-range grease.", default="general")
@click.option("--load-share", type=float, default=0.1, show_default=True, help="Load P/C.")
@click.option("--elapsed", type=float, default=0.0, show_default=True, help="Running hours since fitted.")
@click.option("--as-of", type=click.DateTime(["%Y-%m-%d"]), help="Date of the question: gives dates and probabilities.")
@click.option("--hours-per-day", type=float, default=24.0, show_default=True, help="Running hours a day from now on.")
@click.option("--horizon", type=float, default=90.0, show_default=True, help="Horizon of the probability, days.")
@AS_JSON
def grease_life(as_json: bool, as_of: datetime | None, **options: Any) -> None:
    """Grease life of a sealed or shielded ball bearing, and when it ends."""
    from condlube.operations.calc.grease_life import grease_life as work

    _show(
        lambda: work(
            _bearing(options),
            options["speed"],
            options["temperature"],
            limiting_speed_rpm=options["limiting_speed"],
            grease=options["grease"],
            load_share_p_c=options["load_share"],
            elapsed_h=options["elapsed"],
            as_of=None if as_of is None else as_of.date(),
            running_h_per_day=options["hours_per_day"],
            horizon_days=options["horizon"],
        ),
        as_json,
    )


@calc.command()
@click.argument("in_service")
@click.argument("assigned")
@click.option("--same-product", is_flag=True, help="Both are known to be the same product.")
@_choice("--base-oil-in-service", "mineral pao ester pag silicone pfpe unknown", "Base oil.", default="unknown")
@_choice("--base-oil-assigned", "mineral pao ester pag silicone pfpe unknown", "Base oil.", default="unknown")
@AS_JSON
def compatibility(as_json: bool, **options: Any) -> None:
    """Whether the ASSIGNED thickener may follow the one IN_SERVICE (lithium, polyurea, ..., unknown)."""
    from condlube.operations.calc.compatibility import compatibility as work

    _show(lambda: work(options.pop("in_service"), options.pop("assigned"), **options), as_json)


@calc.command()
@_amount("--velocity", "velocity", "Broadband housing velocity, mm/s rms (or 'in/s peak').", required=True)
@_amount("--power", "power", "Rated power, kW (or 'hp').", required=True)
@SPEED
@_choice("--support", "rigid flexible", "Support in the direction of measurement.", default="rigid")
@_choice("--machine", "machine pump", "Pumps have their own standard.", default="machine")
@_choice("--category", "I II", "Category of a pump: I critical, II general.", default="II")
@_amount("--baseline", "velocity", "Baseline, mm/s rms: gives the alarm setting.")
@AS_JSON
def zone(as_json: bool, **options: Any) -> None:
    """Vibration zone by ISO 20816-3, or ISO 10816-7 for pumps."""
    from condlube.operations.calc.zone import zone as work

    _show(
        lambda: work(
            options["velocity"],
            options["power"],
            options["speed"],
            support=options["support"],
            machine=options["machine"],
            category=options["category"],
            baseline_mm_s_rms=options["baseline"],
        ),
        as_json,
    )


@calc.command()
@BEARING
@SPEED
@_amount("--ring-temperature", "temperature", "Ring temperature, °C (or F).", required=True)
@_amount("--start-temperature", "temperature", "Coldest start, °C.", default=10.0, show_default=True)
@LOAD_RATIO
@MOISTURE
@POSITION
@click.option("--thickener", default="unknown", show_default=True, help="Thickener, such as lithium_complex.")
@_amount("--v40", "viscosity", "Base oil viscosity at 40 °C, mm²/s.")
@_amount("--v100", "viscosity", "Base oil viscosity at 100 °C, mm²/s.")
@_amount("--grease-min", "temperature", "Lowest service temperature of the grease, °C.")
@_amount("--grease-max", "temperature", "Highest service temperature of the grease, °C.")
@click.option("--ep/--no-ep", default=None, help="Whether the grease carries EP additives.")
@click.option("--nlgi", default="", help="NLGI number.")
@click.option("--din", default="", help="Code by DIN 51502, such as KP2K-20: fills in what is not given.")
@click.option("--iso", default="", help="Code by ISO 6743-9, such as 'ISO-L-XBCEB 2'.")
@AS_JSON
def suitability(as_json: bool, **options: Any) -> None:
    """Whether a grease is right or wrong for a bearing, aspect by aspect."""
    from condlube.operations.calc.suitability import suitability as work

    _show(
        lambda: work(
            _bearing(options),
            options["speed"],
            options["ring_temperature"],
            start_temperature_degc=options["start_temperature"],
            load_ratio_c_p=options["load_ratio"],
            moisture=options["moisture"],
            orientation=options["position"],
            thickener=options["thickener"],
            viscosity_40_mm2_s=options["v40"],
            viscosity_100_mm2_s=options["v100"],
            temperature_min_degc=options["grease_min"],
            temperature_max_degc=options["grease_max"],
            extreme_pressure=options["ep"],
            nlgi=options["nlgi"],
            din_code=options["din"],
            iso_code=options["iso"],
        ),
        as_json,
    )


@calc.command()
@click.argument("designation")
@AS_JSON
def dimensions(as_json: bool, designation: str) -> None:
    """What a bearing designation says: type, dimensions, closures, clearance."""
    from condlube.operations.calc.dimensions import dimensions as work

    _show(lambda: work(designation), as_json)
