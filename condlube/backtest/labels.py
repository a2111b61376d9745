"""What state the record says a bearing was in on a night, where it says so at all."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from condlube.assessment.sources import IntArray
from condlube.backtest.matters import Grid
from condlube.backtest.outcomes import Windows
from condlube.backtest.record import SUPPLY_FINDINGS, Record
from condlube.schema.words import STATES

UNKNOWN = -1
SHOWS_D = 14
"""A fault is taken to show for so many days before it is recorded (engineering judgement)."""
Told = tuple[int, int, int, bool]
"""Bearing, day, state, and whether it shows before the day (else after it)."""
_STARVED, _SUPPLY, _DAMAGED = (STATES.index(s) for s in ("starved", "supply_fault", "damaged"))


def labels(grid: Grid, record: Record, windows: Windows) -> tuple[IntArray, IntArray]:
    """State of every bearing and night on the grid (position in ``words.STATES``, ``UNKNOWN`` where the record does not
    tell), and the episode that a night belongs to: nights before one record are one episode, numbered from 0; -1 else.

    A bearing was *adequate* where for the whole lead time that follows it neither failed nor was replaced, and no one
    inspected it or greased it to an effect; *starved* just before a failure for want of grease or a greasing after
    which a raised level stayed down; in *supply fault* after a greasing without effect or before a finding of lost, wet
    or hardened grease; *damaged* before any other failure or a finding of damage.
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
    for which, day, _, _ in told:
        mark(which, day - windows.lead_max_d, day, UNKNOWN)
    for frame in (record.replacements, record.inspections):
        for which, day in zip(frame["which"], frame["day"], strict=True):
            mark(which, day - windows.lead_max_d, day, UNKNOWN)
    for number, (which, first, last, value) in enumerate(_shown(told)):
        mark(which, first, last, value, number)
    return state, episode


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
