"""Why a line was not stored: every reason code, once, with the sentence that tells how to repair the source."""

from __future__ import annotations

# The order is the order of judgement: a line gets the first reason that holds.
REASONS = {
    "field_count": "more or fewer fields than the header: cut off, or a field that holds the delimiter lacks quotes",
    "quoting": "a quote begins or ends inside a field: double it at the source, or set quote in [format]",
    "control_character": "the line holds a NUL or a lone carriage return: damaged in transfer, fetch the file again",
    "encoding": "the bytes are not text in the declared encoding: set encoding in [format]",
    "header_repeated": "the header line again, inside the data: files were joined; nothing is lost by it",
    "ignored_tag": "the tag is on the source's own list of tags to ignore",
    "unknown_tag": "no measuring point has this tag: add it to points, to [tags] or to [ignore]",
    "ambiguous_tag": "two measuring points claim this tag on this date: give them valid_from and valid_to",
    "not_valid": "the measuring point was not valid on this date, by its valid_from and valid_to",
    "time_empty": "there is no time: the source has to give one",
    "time_unreadable": "the time does not fit time_format in [format], or is no date of the calendar from 1900 to 2200",
    "missing_hour": "this local time never was, clocks went forward over it: correct zone in [format] or export UTC",
    "repeated_hour": "this local time was twice, and the order of the file does not tell which is meant: export UTC",
    "too_old": "the time is before earliest in [format]: a clock that was reset",
    "future": "the time is still to come: a wrong clock, a wrong zone in [format], or day and month exchanged",
    "clock_jump": "the time lies farther from the rest of the file than span_days in [format]: a clock that jumped",
    "value_empty": "there is no value: a gap of the historian, nothing to repair in the file",
    "no_data": "a word says that there was no value: a gap of the historian, nothing to repair in the file",
    "not_a_number": "no number: correct decimal or thousands in [format], or add the word to no_data in [quality]",
    "unit_unknown": "the unit does not measure the quantity of the point: correct it in the file, points or [units]",
    "quality_unknown": "the quality is neither a declared word nor a quality number: add it to [quality]",
    "out_of_range": "impossible in the declared unit: the unit changed, or a sensor is open; see [units] and [ranges]",
    "ignored_kind": "the kind is on the source's own list of kinds to ignore",
    "unknown_kind": "no event kind is declared for this word: add it to [kinds] or to [ignore]",
    "unknown_place": "the register has no such bearing, machine or point: add it to [places] or to the register",
    "event_field": "a field of the event cannot be read, or may not be empty",
    "conflict": "a later line of the file gives another reading for the same point and time, and is the one kept",
}

CODE = {reason: number for number, reason in enumerate(REASONS, start=1)}
NAME = {number: reason for reason, number in CODE.items()}

# Which column a reason speaks about, by its role; reasons that are not here speak about the whole line.
ROLE = {
    "encoding": "tag", "ignored_tag": "tag", "unknown_tag": "tag", "ambiguous_tag": "tag", "not_valid": "tag",
    "time_empty": "time", "time_unreadable": "time", "missing_hour": "time", "repeated_hour": "time", "too_old": "time",
    "future": "time", "clock_jump": "time", "value_empty": "value", "no_data": "value", "not_a_number": "value",
    "out_of_range": "value", "conflict": "value",
    "ignored_kind": "kind", "unknown_kind": "kind", "unit_unknown": "unit", "quality_unknown": "quality",
}  # fmt: skip
