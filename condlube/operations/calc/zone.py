"""Vibration severity zone and alarm setting, worked."""

from __future__ import annotations

from condlube.errors import InvalidArgument
from condlube.lubrication.severity import Zones, alarm_and_trip, machine_group, machine_zone, pump_zone
from condlube.operations.calc.working import Item, Method, Working, number_text, outside_text

MEANING = {
    "A": "as newly commissioned machines",
    "B": "acceptable for unrestricted long-term operation",
    "C": "unsatisfactory for continuous operation: plan a remedy",
    "D": "severe enough to cause damage: stop or act at once",
}
MACHINES = ("machine", "pump")


def zone(
    velocity_mm_s_rms: float,
    power_kw: float,
    speed_rpm: float,
    *,
    support: str = "rigid",
    machine: str = "machine",
    category: str = "II",
    baseline_mm_s_rms: float | None = None,
) -> Working:
    """Zone of a broadband housing velocity: ISO 20816-3, or ISO 10816-7 for pumps; with a baseline also the alarm."""
    if machine not in MACHINES:
        raise InvalidArgument("machine", machine, f"one of {', '.join(MACHINES)}")
    inputs = [
        Item("velocity_mm_s_rms", "velocity", velocity_mm_s_rms, "mm/s rms", "v"),
        Item("power_kw", "rated power", power_kw, "kW"),
        Item("speed_rpm", "speed", speed_rpm, "r/min", "n"),
    ]
    if machine == "pump":
        zones = pump_zone(velocity_mm_s_rms, power_kw, category)
        inputs.append(Item("category", "category of the pump", category))
        title, source = "Zone of a pump", "ISO 10816-7:2009, Table A.1 (from memory)"
        classed = f"category {category}, {'above' if power_kw > 200 else 'up to'} 200 kW"
    else:
        zones = machine_zone(velocity_mm_s_rms, power_kw, support, speed_rpm)
        inputs.append(Item("support", "support", support))
        title, source = "Zone of a machine", "ISO 20816-3:2022, Annex A (from memory)"
        classed = f"group {int(machine_group(power_kw)) + 1}, {support} support"
    methods = [_zone_page(title, source, classed, zones)]
    results = list(methods[0].results)
    if baseline_mm_s_rms is not None and not zones.outside:
        inputs.append(Item("baseline_mm_s_rms", "baseline", baseline_mm_s_rms, "mm/s rms", "v0"))
        methods.append(_alarm_page(baseline_mm_s_rms, zones))
        results += methods[-1].results
    return Working("Vibration severity", tuple(inputs), tuple(methods), tuple(results))


def _zone_page(title: str, source: str, classed: str, zones: Zones) -> Method:
    letter = str(zones.zone)
    limits = [float(limit) for limit in zones.limits_mm_s_rms]
    return Method(
        title,
        source,
        factors=()
        if not letter
        else tuple(
            Item(f"limit_{name.lower().replace('/', '_')}", f"limit {name}", limit, "mm/s rms", "", classed)
            for name, limit in zip(("A/B", "B/C", "C/D"), limits, strict=True)
        ),
        results=(Item("zone", "zone", letter or None, note=MEANING.get(letter, "")),),
        outside=outside_text(int(zones.reason)),
        notes=("a value on a limit belongs to the more severe zone",),
    )


def _alarm_page(baseline: float, zones: Zones) -> Method:
    b, c = float(zones.limits_mm_s_rms[1]), float(zones.limits_mm_s_rms[2])
    alarm, trip = (float(value) for value in alarm_and_trip(baseline, b, c))
    return Method(
        "Alarm and trip",
        "ISO 20816-3:2022 (from memory); other guides take 1.25 times the baseline",
        formula=("alarm = v0 + 0.25·(B/C), at most 1.25·(B/C);  trip within zone C or D, at most 1.25·(C/D)",),
        substituted=(
            f"alarm = {number_text(baseline)} + 0.25 × {number_text(b)} = {number_text(baseline + 0.25 * b)}, "
            f"at most {number_text(1.25 * b)}",
        ),
        results=(
            Item("alarm_mm_s_rms", "alarm", alarm, "mm/s rms"),
            Item("trip_at_most_mm_s_rms", "trip at most", trip, "mm/s rms"),
            Item("significant_change_mm_s_rms", "significant change, up or down", 0.25 * b, "mm/s rms"),
        ),
    )
