"""Codes of the guards in the order in which they speak, and the actions that each takes away."""

from __future__ import annotations

TAKES: dict[str, tuple[str, ...]] = {
    "absolute_limit": ("hold", "grease"),
    "replacement_window": ("grease", "inspect"),
    "grease_mismatch": ("hold", "grease"),
    "history_unknown": ("hold", "grease"),
    "survey_waits": ("grease",),
    "outside_range": ("hold", "grease"),
    "stopped": ("grease",),
    "idle": ("inspect",),
    "just_greased": ("grease",),
    "unsettled": ("hold", "grease"),
    "early_rise": ("hold",),
    "response_failed": ("hold", "grease"),
    "long_overdue": ("hold", "grease"),
    "sealed": ("grease",),
    "extension_cap": ("hold",),
    "data_lost": ("grease",),
    "heard_beside": ("grease",),
    "baseline_unsettled": ("grease",),
    "not_dryness": ("hold", "grease"),
    "deferred": ("grease", "inspect"),
    "asked_grease": ("hold", "inspect"),
    "asked_inspect": ("hold", "grease"),
}
TIMED = (
    "replacement_window", "history_unknown", "survey_waits", "just_greased", "unsettled", "long_overdue",
    "extension_cap", "data_lost", "heard_beside", "baseline_unsettled", "not_dryness", "deferred", "asked_grease",
    "asked_inspect",
)  # fmt: skip
"""Guards that time alone turns on or off."""
ASKED = {"deferred": "hold", "asked_grease": "grease", "asked_inspect": "inspect"}
"""Guards by which an analyst asks for an action: where one holds, no other takes that action away."""
