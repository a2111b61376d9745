"""What state the record says a bearing was in on a night, where it says so at all."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd

from condlube.assessment.sources import IntArray
from condlube.backtest.matters import Grid
from condlube.backtest.outcomes import Windows
from condlube.backtest.record import SUPPLY_FINDINGS, Record
from condlube.detection.begins import EPOCH
from condlube.schema.words import MEASURED_AGAIN, NOTHING_FOUND, SEEN_ON_SITE, SENSOR_DOUBTED, STATES

UNKNOWN = -1
SHOWS_D = 14
"""A fault is taken to show for so many days before it is recorded (engineering judgement)."""
Told = tuple[int, int, int, bool]
"""Bearing, day, state, and whether it shows before the day (else after it)."""
Seen = tuple[int, int, int]
"""Bearing, day, state."""
_BEEN_THERE = (NOTHING_FOUND, SEEN_ON_SITE, MEASURED_AGAIN)
_SAYS = {"hold": "adequate", "grease": "starved"}
_STARVED, _SUPPLY, _DAMAGED = (STATES.index(s) for s in ("starved", "supply_fault", "damaged"))


def labels(grid: Grid, record: Record, windows: Windows, verdicts: Iterable[Seen] = ()) -> tuple[IntArray, IntArray]:
    """State of every bearing and night on the grid (position in ``words.STATES``, ``UNKNOWN`` where the record does not
    tell), and the episode that a night belongs to: nights before one record are one episode, numbered from 0; -1 else.

    A bearing was *adequate* where for the whole lead time that follows it neither failed nor was replaced, and no one
    inspected it or greased it to an effect; *starved* just before a failure for want of grease or a greasing after
    which a raised level stayed down; in *supply fault* after a greasing without effect or before a finding of lost, wet
    or hardened grease; *damaged* before any other failure or a finding of damage. What an analyst saw on a night
    (``seen_by``) is the state of that night, or of the next on the grid, unless a fault was recorded after it.
    """
    state = np.zeros(grid.row.shape, dtype=np.int64)
    state[grid.row < 0] = UNKNOWN
    state[:, grid.day + windows.lead_max_d > record.last] = UNKNOWN
    episode = np.full(grid.row.shape, -1, dtype=np.int64)

    def mark(which: int, first: int, last: int, value: int, number: int = -1) -> None:
        a, b = np.searchsorted(grid.day, (first, last))
        state[which, a:b] = np.where(grid.row[which, a:b] < 0, UNKNOWN, value)
        episode[which, a:b] = number

    told = list(_told(record))
    for frame in (record.replacements, record.inspections):
        for which, day in zip(frame["which"], frame["day"], strict=True):
            mark(which, day - windows.lead_max_d, day, UNKNOWN)
    for number, (which, day, value) in enumerate(verdicts, start=len(told)):
        mark(which, day, day + grid.step_d, value, number)
    for which, day, _, _ in told:
        mark(which, day - windows.lead_max_d, day, UNKNOWN)
    for number, (which, first, last, value) in enumerate(_shown(told)):
        mark(which, first, last, value, number)
    return state, episode


def seen_by(grid: Grid, reviews: pd.DataFrame) -> list[Seen]:
    """Bearing, night and state that each review of the schema's table tells: an analyst who was there, or measured
    again, and changed the call to hold saw grease that is adequate, to grease a bearing that is short of it; who
    doubted the sensor, an instrument fault."""
    which = pd.Index(grid.bearing_ids).get_indexer(reviews["bearing_id"])
    made = []
    for at, row in zip(which.tolist(), reviews.to_dict("records"), strict=True):
        changed = row["call"] if row["verdict"] == "change" and row["reason"] in _BEEN_THERE else ""
        doubted = row["verdict"] != "agree" and row["reason"] == SENSOR_DOUBTED
        state = _SAYS.get(changed) or ("instrument_fault" if doubted else "")
        if at >= 0 and state:
            made.append((at, row["night"].toordinal() - EPOCH, STATES.index(state)))
    return made


def _told(record: Record) -> Iterator[Told]:
    for which, day, _, lubrication in record.failures.itertuples(index=False):
        if lubrication is True or lubrication is False:
            yield which, day, _STARVED if lubrication else _DAMAGED, True
    for which, day, finding in record.inspections.itertuples(index=False):
        if finding:
            yield which, day, _SUPPLY if finding in SUPPLY_FINDINGS else _DAMAGED, True
    for row in record.greasings.itertuples(index=False):
        if row.answer == "held":
            yield row.which, row.day, _STARVED, True
        elif row.answer == "none":
            yield row.which, row.day, _SUPPLY, False


def _shown(told: list[Told]) -> Iterator[tuple[int, int, int, int]]:
    """Bearing, first day and day after the last of the nights that each record speaks of, and the state."""
    for which, day, state, before in told:
        first, last = (day - SHOWS_D, day) if before else (day + 3, day + SHOWS_D)
        yield which, first, last, state
