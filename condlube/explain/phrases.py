"""The phrases of which sentences about a decision are made. Each fact has one phrase."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

STATES = {
    "adequate": "lubrication adequate",
    "starved": "short of grease",
    "overfilled": "overfilled",
    "supply_fault": "grease not arriving, lost, wet or wrong",
    "damaged": "bearing damage",
    "machine_fault": "unbalance, misalignment or looseness",
    "instrument_fault": "instrument at fault",
}

TOWARDS = {
    **STATES,
    "starved": "a shortage of grease",
    "overfilled": "an overfull bearing",
    "instrument_fault": "an instrument at fault",
}
"""What evidence points to."""

SIGNALS = {
    "ultrasound": "ultrasound",
    "acceleration": "high-frequency acceleration",
    "impulsiveness": "impulsiveness",
    "velocity": "vibration velocity",
    "temperature": "temperature",
}

FINDINGS = {
    "noise": "noise was heard",
    "defect_tones": "bearing defect tones were found",
    "leak": "grease was found leaking",
    "water_in_grease": "water was found in the grease",
    "dirt_in_grease": "dirt was found in the grease",
    "metal_in_grease": "metal was found in the grease",
    "hardened_grease": "hardened grease was found",
    "blocked_path": "the grease path was found blocked",
    "damage": "bearing damage was found",
}

RESPONSES = {
    "held": "the level fell after the last greasing and stayed down",
    "returned": "the level fell after the last greasing and came back",
    "none": "the last greasing did not bring the level down",
    "worse": "the level rose after the last greasing",
}

REASONS = {
    "zero": "the sensor reads exact zeros",
    "frozen": "the signal stands still",
    "reference_extended": "expected level carried on to a lasting new speed or load",
    "short_cycles": "the level fell after each of the last greasings and came back within days",
    "reference_unsettled": "the expected level rests on few nights, or rose itself while it was learned",
    "reference_lowered": "expected level held against family or earlier reference",
    "no_signal": "the sensor gives no signal while the machine runs",
    "faint": "a dead sensor, or a machine that stands",
    "full_scale": "the instrument is saturated",
    "range": "values that cannot be true",
    "unit_jump": "the unit seems to have changed",
    "gap": "too few sound readings",
    "spike": "single wild readings",
    "erratic": "the signal jumps to and fro, as with a broken cable",
    "quantised": "steps too coarse to judge",
    "clock": "time stamps that cannot be true",
    "stale": "no recent reading",
    "no_recent_readings": "no recent reading",
    "stopped": "the machine stood still",
    "collecting": "the reference is still being collected",
    "no_reference": "there is no reference yet",
    "out_of_range": "running outside the conditions seen so far",
    "operating_unknown": "speed or load are not known",
    "operating_changed": "the whole machine stepped at once: another speed or load that no signal tells?",
    "heard_beside": "a failing neighbour on its machine is heard",
    "expected_uncertain": "the expected level is too uncertain",
    "slow_shaft": "the shaft turns too slowly for this signal",
    "second_reading": "waiting for a second reading",
    "state_unclear": "running or standing is not clear",
    "warm_day": "the warm day after greasing is not judged",
    "assumed_x": "no interval holds: a middle share of it is assumed",
    "heavy_dose": "the last dose was heavy",
    "unsuitable_grease": "the grease does not suit this bearing",
    "earlier_damage": "damage was found before",
    "rating_life": "the rating life raises the chance of damage",
    "supply_doubted": "it is in doubt whether grease arrives and stays",
    "rough_signal": "a signal of this bearing is faulty",
    "rough_history": "a signal of this bearing was faulty on some of the last days",
    "median_of_nights": "the median of the last nights counts",
    "less_noise": "it counts less by its noise",
    "not_significant": "it changed by less than a quarter of the upper limit of zone B: not significant",
    "inspected_without_finding": "an inspection found nothing",
    "gradual": "it came gradually",
    "abrupt": "it came abruptly",
    "recent": "it is only days old",
    "recorded": "recorded by people",
    "pattern": "high-frequency acceleration without ultrasound on an inverter drive",
}

# What a guard says; its parameters stand in the policy under [guard].
GUARDS = {
    "absolute_limit": "an absolute limit is passed: do not approach to grease; stop the machine by site procedure",
    "replacement_window": "past the life of its grease, and no signal speaks for a fault",
    "sealed": "the bearing cannot be regreased",
    "grease_mismatch": "the grease inside is unknown or must not meet the assigned one: find out before any is added",
    "history_unknown": "nobody knows when this bearing was greased: its turn in the survey of the route",
    "survey_waits": "nobody knows when this bearing was greased: it waits for its turn in the survey of the route",
    "outside_range": "the interval method gives none at these conditions: ask the maker, consider oil",
    "stopped": "the machine stands: tonight adds no evidence",
    "idle": "the machine stands, and nothing speaks for a fault: see to it when it runs again",
    "just_greased": "grease was put in a short while ago: no second dose",
    "unsettled": "the temperature has not settled after greasing, or is up unexplained: no more grease before a look",
    "early_rise": "a clear rise on two sound readings is not left alone",
    "response_failed": "the last greasing had no effect: prove first that grease arrives",
    "long_overdue": "far overdue: look for hardened grease and a closed outlet, and ask whether the record is true",
    "extension_cap": "the interval may not be extended further here",
    "heard_beside": "a failing neighbour on its machine is heard, no rise of its own: look at that one first",
    "baseline_unsettled": "the rise stands against a level that no settled time has shown: look before greasing",
    "not_dryness": "a rise that says too little of dryness to grease on it: look first",
    "data_lost": "every lubrication-sensitive signal is lost: no greasing before the interval ends",
    "deferred": "deferred by an analyst",
    "asked_grease": "an analyst asks for it",
    "asked_inspect": "an analyst asks for it",
}

# What a guard of several kinds says of each.
GUARD_KINDS = {
    "extension_cap watched": "condition does not extend an interval further than this",
    "extension_cap dirt": "dirt allows little more than the interval, however quiet",
    "extension_cap moisture": "moisture allows little more than the interval, however quiet",
    "extension_cap heavy_dirt": "heavy dirt allows no more than the interval, however quiet",
    "extension_cap water": "water allows no more than the interval, however quiet",
    "extension_cap inverter": "an inverter without shaft protection allows no more than the interval, however quiet",
    "extension_cap vertical": "an open vertical shaft allows no more than the interval, however quiet",
    "extension_cap highest": "highest criticality allows no more than the interval, however quiet",
    "extension_cap unwatched": "no sound signal that would tell of dryness: no longer than the interval",
    "absolute_limit stopped": "an absolute limit was passed on its last running readings: not to be started before it "
    "has been looked at",
    "grease_mismatch unknown": "nobody knows which grease is inside: find out before any is added",
    "grease_mismatch incompatible": "the grease inside and the one assigned do not mix: clean out first, or stay with "
    "the one inside",
    "grease_mismatch uncharted": "no chart tells whether the grease inside and the one assigned mix: ask the supplier "
    "before any is added",
    "grease_mismatch untested": "the grease inside and the one assigned may not mix: test a mixture before adding any",
    "unsettled above_before": "the temperature settled above its level before the greasing: see the outlet open and "
    "the excess out before any more is added",
    "unsettled rising": "the temperature still rises after the greasing: see the outlet open and the excess out before "
    "any more is added",
    "unsettled unexplained": "the temperature has been up for days with nothing else to explain it: look before any "
    "grease is added",
    "long_overdue sealed": "far past the life of its grease: listen, feel for play, and plan the replacement",
}

MATTERS = {
    "open": "open",
    "on_work_list": "on the work list",
    "deferred": "deferred",
    "inspected_without_finding": "inspected, nothing found",
    "inspected_with_finding": "inspected, something found",
    "done": "done",
    "gone": "gone",
}

LOOK_FOR = {
    "bearing": "noise, play and vibration spectrum for defect tones; damage class by ISO 15243 (5.1 fatigue, 5.2 wear, "
    "5.4 electrical erosion); failure mode VIB or NOI by ISO 14224",
    "supply": "fitting, line and outlet for a free path; leaks; water, dirt or the wrong grease in what comes out; "
    "ISO 15243 5.2 wear or 5.3 corrosion would confirm a lasting shortage",
    "grease": "which grease is really inside: gun, drum, last record, a sample where in doubt; mixtures are tested by "
    "ASTM D6185 before one is added to the other",
    "outlet": "outlet plug or valve open, its path free; let it run with the outlet open until no more comes out: the "
    "temperature falls within a day if the cavity was too full",
    "machine": "unbalance, misalignment, looseness and foundation; failure mode VIB by ISO 14224",
    "instrument": "sensor, mounting, cable, gateway and its gain; compare with a portable reading; AIR by ISO 14224",
    "records": "which grease is inside, when it was last added, whether the outlet is free; record one inspection",
}


def share(p: float) -> str:
    """A probability in percent; never nothing and never all."""
    return "under 0.1%" if p < 0.001 else "over 99.9%" if p > 0.999 else f"{p:.1%}"


def fixed(value: float, digits: int) -> str:
    """A number with so many digits, and no minus before a zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def grams(dose_g: float) -> str:
    """A dose, with the digit that a small one needs."""
    return f"{dose_g:.0f} g" if dose_g >= 10 else f"{dose_g:.1f} g"


def counted(strokes: int) -> str:
    """So many strokes."""
    return f"{strokes} stroke{'' if strokes == 1 else 's'}"


def level(source: str, deviation: float) -> str:
    """How far a signal stands from what is expected, in its trade unit."""
    name = SIGNALS[source]
    if source in ("ultrasound", "acceleration"):
        return f"{name} {abs(deviation):.1f} dB {'over' if deviation >= 0 else 'under'} expected"
    if source == "temperature":
        if abs(deviation) < 0.5:
            return f"{name} as expected"
        return f"{name} {abs(deviation):.0f} K {'over' if deviation >= 0 else 'under'} expected"
    return f"{name} {deviation:.2f} times the expected"


def fact(row: Mapping[str, Any]) -> str:
    """What one assessed row of the evidence says."""
    source, value = row["source"], row["deviation"]
    if source in SIGNALS:
        return level(source, value)
    if source.startswith("finding."):
        return f"{FINDINGS[source.removeprefix('finding.')]} {_ago(row['observed'])}"
    if source == "settling":
        return f"temperature {abs(value):.0f} K {'over' if value >= 0 else 'under'} its level before the greasing"
    if source == "growth":
        return f"risen by {value:.0f} times its day-to-day scatter within the last nights"
    if source == "collector_share":
        return f"{value:.0%} of the other points of its collector moved with it"
    if source == "onset":
        return f"the rise {REASONS[row['reason']].removeprefix('it ')}"
    if source == "response":
        return RESPONSES[row["reason"]]
    if source == "zone":
        return f"velocity {row['observed']:.1f} mm/s rms where {row['expected']:.1f} mm/s bounds the zone"
    if source == "temperature_limit":
        return f"housing at {row['observed']:.0f} °C, limit {row['expected']:.0f} °C"
    if source == "electrical":
        return "the pattern of electrical erosion: " + REASONS["pattern"]
    return f"{used(value)} used up"


def _ago(days: float) -> str:
    return "today" if days < 1 else f"{days:.0f} day{'' if days < 2 else 's'} ago"


def used(x: float | None) -> str:
    """Share of the interval used up, in words."""
    return "an unknown share of the interval" if x is None else f"{x:.0%} of the interval"


def why_not(row: Mapping[str, Any]) -> str:
    """Why a row of the evidence says nothing."""
    if row["status"] == "absent":
        return "not measured"
    word = {"faulty": "faulty", "stale": "stale", "not_testable": "could not be tested"}[row["status"]]
    return f"{word}: {REASONS.get(row['reason'], row['reason'])}" if row["reason"] else word
