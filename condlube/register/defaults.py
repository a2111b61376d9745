"""What holds where the register says nothing: every default once, with its reason.

Only ``bearing_id``, ``designation`` (or type and dimensions) and ``speed_rpm`` must be given. ``ASSUMED`` fields get a
value that may turn a call; each is named in the bearing's ``defaults_used``. ``NOT_ASSUMED`` fields stay empty: nothing
is assumed, and what would need them is left out. Nothing is assumed about greases.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from condlube.register.designation import UnknownDesignation, parse_designation
from condlube.register.sheet import Sheet


@dataclass(frozen=True)
class Default:
    """A value, or a function that makes it from the fields ``by``; None says that the field has no use there."""

    value: Any
    why: str
    by: tuple[str, ...] = ()


def _grooved(designation: str) -> bool:
    try:
        return parse_designation(designation).lubrication_groove
    except UnknownDesignation:
        return False


_NOMINAL = "class for which the handbook interval holds unchanged; a worse class shortens it"

ASSUMED: dict[str, Default] = {
    "machine_id": Default(lambda bearing: bearing, "the bearing then stands for a machine of its own", ("bearing_id",)),
    "machine_kind": Default("other", "no rule for one kind of machine is applied"),
    "seal": Default("open", "a designation without a suffix is an open bearing"),
    "effective_seal": Default(False, "protection that nobody has confirmed does not stretch an interval"),
    "supply": Default(
        lambda seal: "none" if seal == "sealed" else "hand",
        "most regreasable bearings are greased by hand; a sealed one cannot be",
        ("seal",),
    ),
    "relief": Default("unknown", "the work list then asks to look for the outlet first"),
    "entry": Default(
        lambda designation: "outer_ring_groove" if _grooved(designation) else "side",
        "suffix W33 is a groove and holes for grease in the outer ring; the side is the usual way otherwise",
        ("designation",),
    ),
    "fitting_access": Default(
        lambda line_m: "stopped" if line_m is None else "remote_line",
        "the safe way until someone has looked; a length of remote line tells that there is one",
        ("remote_line_m",),
    ),
    "running_share": Default(1.0, "running all the time uses up grease life fastest"),
    "drive": Default("direct", "most machines run at mains frequency"),
    "orientation": Default("horizontal", "the usual position, for which the handbook interval holds unchanged"),
    "rotating_ring": Default("inner", "the usual case: the shaft turns"),
    "load_ratio": Default(10.0, "C/P of an ordinary motor, pump or fan bearing; common practice, no source"),
    "contamination": Default("light_nonabrasive", _NOMINAL),
    "moisture": Default("dry", _NOMINAL),
    "outdoors": Default(False, "most machines stand under a roof; standing idle outdoors ages grease sooner"),
    "hazardous_area": Default(False, "the area classification is the site's to give; the cautions still name it"),
    "grease_in_service": Default(
        lambda assigned: assigned,
        "what the plant assigns is what it has been putting in; where that is in doubt, write 'unknown'",
        ("grease_assigned",),
    ),
    "manual_interval_basis": Default(
        lambda interval: None if interval is None else "unknown",
        "few manuals say what their interval means",
        ("manual_interval_h",),
    ),
    "manual_reference_degc": Default(
        lambda interval: None if interval is None else 70.0,
        "ring temperature for which catalogues state intervals",
        ("manual_interval_h",),
    ),
    "trip_degc": Default(
        lambda alarm: 105.0 if alarm is None else max(105.0, alarm + 10),
        "motor practice trips at 100 to 105 degC; from memory",
        ("alarm_degc",),
    ),
    "alarm_degc": Default(
        lambda trip: min(95.0, trip - 10),
        "motor practice alarms at 90 to 95 degC, 10 K under the trip; from memory",
        ("trip_degc",),
    ),
    "housing_to_ring_k": Default(10.0, "outer ring about 10 K over the housing"),
    "housing_degc": Default(60.0, "ring then at 70 degC, the temperature for which catalogues state intervals"),
    "support": Default("rigid", "the narrower zones of ISO 20816-3"),
    "criticality": Default("normal", "neither stretched nor shortened"),
    "commissioned": Default(lambda mounted: mounted, "a bearing is mounted with fresh grease", ("mounted",)),
    "history_known": Default(True, "records and the site's assumed last greasing are taken at their word"),
}

NOT_ASSUMED: dict[str, Default] = {
    "area": Default("", "a label"),
    "route": Default("", "a label; all bearings without one are one route"),
    "position": Default("", "a label"),
    "designation": Default("", "type and dimensions are given instead"),
    "mass_kg": Default(None, "not needed for any call"),
    "dynamic_rating_n": Default(None, "load_ratio speaks for it"),
    "shield_side": Default(None, "only a bearing with one shield needs it; the work list asks for it"),
    "remote_line_m": Default(None, "the grease that fills the line is not counted"),
    "cavity_shared_with": Default(None, "the cavity is the bearing's own"),
    "grease_assigned": Default(None, "the only grease of the plant if it has just one; else the call names no grease"),
    "manual_interval_h": Default(None, "the policy's method gives the interval"),
    "manual_quantity_g": Default(None, "the quantity is calculated from the dimensions"),
    "gun_g_per_stroke": Default(None, "strokes are given for a calibrated gun only"),
    "speed_min_rpm": Default(None, "the policy's share of the speed"),
    "power_kw": Default(None, "velocity is then not placed in a zone of ISO 20816-3"),
    "mounted": Default(None, "nothing is counted from it"),
}


def fill(bearings: Sheet, site: str) -> list[str]:
    """Put the defaults into every empty cell; return, per row, the assumed fields separated by spaces.

    A later default may be made from an earlier one, never the other way round.
    """
    _put(bearings, "site", Default(site, "the site of the definition"))
    for name, default in NOT_ASSUMED.items():
        _put(bearings, name, default)
    filled = [_put(bearings, name, default) for name, default in ASSUMED.items()]
    joined: dict[tuple[bool, ...], str] = {}
    rows: list[str] = []
    for used in zip(*filled, strict=True):
        if used not in joined:
            joined[used] = " ".join(name for name, was in zip(ASSUMED, used, strict=True) if was)
        rows.append(joined[used])
    return rows


def _put(sheet: Sheet, name: str, default: Default) -> list[bool]:
    """Fill the empty cells of one column; tell which got a value."""
    values = sheet[name]
    if default.by:
        made = [
            default.value(*basis) if value is None else value
            for value, *basis in zip(values, *(sheet[column] for column in default.by), strict=True)
        ]
    else:
        made = [default.value if value is None else value for value in values]
    sheet.values[name] = made
    return [old is None and new is not None for old, new in zip(values, made, strict=True)]
