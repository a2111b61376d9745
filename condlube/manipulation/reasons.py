"""Reason codes of signal quality, and what each says about the signal."""

from __future__ import annotations

# In the order in which they take precedence on one reading; the index is the code inside kernels.
REASONS = (
    "", "bad", "clock", "unit_jump", "range", "full_scale", "zero", "no_signal", "frozen", "spike", "erratic",
    "uncertain", "gap", "stale", "quantised",
)  # fmt: skip
(SOUND, BAD, CLOCK, UNIT_JUMP, RANGE, FULL_SCALE, ZERO, NO_SIGNAL, FROZEN, SPIKE, ERRATIC, UNCERTAIN, GAP, STALE,
 QUANTISED) = range(len(REASONS))  # fmt: skip

NOT_TESTABLE = frozenset({"uncertain", "gap", "stale", "quantised"})
MEANINGS = {
    "": "sound",
    "bad": "marked bad by its source, or not a number",
    "clock": "stamped later than it became known",
    "unit_jump": "the level jumped by the factor of a unit conversion",
    "range": "outside what the quantity can physically be",
    "full_scale": "at the instrument's full scale",
    "zero": "exact zeros while the machine runs",
    "no_signal": "no more than a sensor's own noise while the machine runs",
    "frozen": "the same value for longer than this point ever holds still",
    "spike": "a single reading far from both neighbours",
    "erratic": "readings that jump to and fro all day, further than a machine does",
    "uncertain": "marked uncertain by its source: context, not evidence",
    "gap": "too few of the day's expected readings",
    "stale": "the readings end long before the day does",
    "quantised": "steps between neighbouring values too coarse to judge",
}


def verdict(reason: str) -> str:
    """Three-valued quality of a summary's ``fault``: sound, faulty or not_testable."""
    if reason == "":
        return "sound"
    return "not_testable" if reason in NOT_TESTABLE else "faulty"
