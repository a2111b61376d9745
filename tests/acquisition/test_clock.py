"""Local time to UTC: the same answer as the standard library, hour by hour, in zones that behave oddly."""

# ruff: noqa: DTZ001 - local times have no zone
from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from condlube.acquisition.clock import changes, to_local, to_utc

EPOCH = datetime(1970, 1, 1)
# Lord Howe moves by half an hour; Apia left out 30 December 2011 whole; Casablanca stops summer time for Ramadan.
ZONES = [
    "Europe/Lisbon",
    "America/New_York",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "Africa/Casablanca",
    "Asia/Kolkata",
    "UTC",
]


def us(moment: datetime) -> int:
    return (moment - EPOCH) // timedelta(microseconds=1)


@pytest.mark.parametrize("name", ZONES)
@pytest.mark.parametrize("year", [2011, 2026])
def test_every_quarter_hour_of_a_year_agrees_with_zoneinfo(name: str, year: int) -> None:
    zone = ZoneInfo(name)
    local = [datetime(year, 1, 1) + timedelta(minutes=15 * k) for k in range(366 * 96)]
    utc, missing, twice = to_utc(np.array([us(moment) for moment in local]), zone)
    for k, moment in enumerate(local):
        first, second = (moment.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
        exists = first.astimezone(zone).replace(tzinfo=None) == moment
        assert missing[k] == (not exists), moment
        assert twice[k] == (exists and first != second), moment
        if exists:
            assert utc[k] == us(first.replace(tzinfo=None)), moment


@pytest.mark.parametrize("name", ZONES)
def test_local_times_of_instants_agree_with_zoneinfo(name: str) -> None:
    zone = ZoneInfo(name)
    instants = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(hours=k) for k in range(366 * 24)]
    local = to_local(np.array([us(moment.replace(tzinfo=None)) for moment in instants]), zone)
    assert [EPOCH + timedelta(microseconds=int(t)) for t in local] == [
        moment.astimezone(zone).replace(tzinfo=None) for moment in instants
    ]


def test_times_far_apart_are_each_given_their_own_offset() -> None:
    zone = ZoneInfo("Europe/Lisbon")
    local = [datetime(1970, 6, 1, 12), datetime(2026, 7, 1, 12), datetime(2026, 1, 1, 12)]
    utc, _, _ = to_utc(np.array([us(moment) for moment in local]), zone)
    assert utc.tolist() == [us(m.replace(tzinfo=zone).astimezone(UTC).replace(tzinfo=None)) for m in local]


def test_no_times_no_answer() -> None:
    nothing = np.empty(0, np.int64)
    assert [len(part) for part in to_utc(nothing, ZoneInfo("Europe/Lisbon"))] == [0, 0, 0]
    assert len(to_local(nothing, ZoneInfo("Europe/Lisbon"))) == 0


def test_the_changes_of_a_year_are_those_of_the_law() -> None:
    # Directive 2000/84/EC: last Sundays of March and October at 01:00 UTC.
    found = changes(ZoneInfo("Europe/Berlin"), us(datetime(2026, 1, 10)), us(datetime(2026, 12, 20)))
    assert [EPOCH + timedelta(microseconds=c.at_us) for c in found] == [
        datetime(2026, 3, 29, 1),
        datetime(2026, 10, 25, 1),
    ]
    assert [c.repeats for c in found] == [False, True]
