"""Cautions for the job at hand.

They remind; they do not replace the machine's manual, site procedures, local codes or licensed practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from condlube.schema.words import AUTOMATIC_SUPPLIES

GENERAL = (
    "The machine's manual, site procedures, local codes and licensed practice come first.",
    "Hot surfaces. A grease gun can inject through skin: keep hands clear of the coupler.",
)
URGENT = "An absolute limit is passed: do not approach to grease. Have the machine stopped by site procedure."
URGENT_STOPPED = "An absolute limit was passed: keep the machine stopped by site procedure until it has been looked at."


def cautions(bearing: Mapping[str, Any], decision: Mapping[str, Any]) -> list[str]:
    """Cautions for work on one bearing, the most urgent first."""
    found = []
    codes = (decision["guards"] or "").split()
    if "absolute_limit" in codes:
        found.append(URGENT_STOPPED if "stopped" in codes else URGENT)
    access = bearing["fitting_access"]
    if bearing["seal"] == "sealed":
        found.append("Isolate and lock out before reaching in; there is no fitting.")
    elif access in ("guard_off", "stopped"):
        found.append("Isolate and lock out before reaching in: the fitting is not reachable with the guards on and the "
                     "machine running.")  # fmt: skip
    elif access == "running":
        found.append("Moving parts near: guards stay on, no loose clothing. Site policy decides running or standstill.")
    elif access == "remote_line":
        found.append("Use the remote fitting; guards stay on. Make sure the line is full of the same grease.")
    if bearing["hazardous_area"]:
        found.append("Hazardous area: work permit first; do not open plugs in an explosive atmosphere.")
    if decision["call"] == "grease" and bearing["supply"] in AUTOMATIC_SUPPLIES:
        found.append("Release the pressure before a line or lubricator is opened.")
    elif decision["call"] == "grease":
        found.append(f"Wipe fitting and coupler clean. {_outlet(bearing['relief'])}".strip())
        found.append("Stop at back-pressure; do not force grease in.")
    return [*found, *GENERAL]


def _outlet(relief: str | None) -> str:
    return {
        "plug": "Open the outlet plug before pumping and refit it after the run.",
        "valve": "See that the relief valve is free before pumping.",
        "none": "There is no outlet: half the dose at most before the temperature has been watched.",
        "unknown": "Find the outlet first; without one do not pump.",
    }.get(relief or "", "")
