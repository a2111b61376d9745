"""How a greasing is carried out, and what the form asks back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from condlube.explain.phrases import counted
from condlube.schema.words import AUTOMATIC_SUPPLIES

FORM = (
    "done_by", "done_at", "grams_given", "level_before", "level_after", "outlet_seen_open", "what_came_out",
    "reason_not_done",
)  # fmt: skip
"""What the form asks for after the work: what was really done, not what was planned."""


def how(bearing: Mapping[str, Any], decision: Mapping[str, Any], shots: int, wait_min: float) -> str:
    """The way to give the dose: in so many ``shots`` while listening, ``wait_min`` apart, or at once where it is 0."""
    if bearing["supply"] in AUTOMATIC_SUPPLIES:
        return "Automatic supply: check lubricator, level and line; do not add by hand before that."
    if decision["strokes"] is not None:
        amount = f"{counted(decision['strokes'])} of the calibrated gun."
    elif bearing["gun_g_per_stroke"]:
        amount = "Weigh the dose: one stroke of the gun is too much."
    else:
        amount = "Weigh the dose or calibrate the gun first: no strokes without a calibrated gun."
    if shots:
        return (
            f"{amount} In {shots} shots while listening, {wait_min:g} min apart: go on only while the level falls; "
            "stop at once if it rises."
        )
    return f"{amount} Slowly, 3 to 5 s a stroke; watch the temperature for two days."
