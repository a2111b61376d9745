"""The repeated hour: whatever sampling, direction and interleaving, answers are right or there is none."""

# ruff: noqa: DTZ001 - local times have no zone
from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from condlube.acquisition.clock import changes, to_local
from condlube.acquisition.repeated_hour import UNKNOWN, folds

EPOCH = datetime(1970, 1, 1)
MINUTE = 60_000_000


def change_of(name: str):
    span = (int((datetime(2026, m, 10) - EPOCH).total_seconds()) * 1_000_000 for m in (3, 11))
    return next(c for c in changes(ZoneInfo(name), *span) if c.repeats), ZoneInfo(name)


def answers(instants: np.ndarray, name: str) -> tuple[np.ndarray, np.ndarray]:
    """What `folds` says of readings at these UTC instants in file order, and the truth, for repeated times only."""
    change, zone = change_of(name)
    local = to_local(instants, zone)
    twice = (local >= change.first_us) & (local < change.last_us)
    found = folds(np.zeros(len(local)), np.arange(len(local)), local, change)
    return found[twice], (instants >= change.at_us)[twice].astype(int)


@pytest.mark.parametrize("name", ["Europe/Berlin", "Australia/Lord_Howe"])
@pytest.mark.parametrize("minutes", [1, 5, 10, 15, 20, 30])
@pytest.mark.parametrize("backwards", [False, True])
def test_regular_sampling_is_told_apart(name: str, minutes: int, backwards: bool) -> None:
    change, _ = change_of(name)
    instants = change.at_us + np.arange(-180, 180, minutes) * MINUTE
    found, truth = answers(instants[::-1] if backwards else instants, name)
    assert (found == truth).all()
    assert len(truth) > 0


@given(st.sets(st.integers(-170, 170), min_size=2), st.booleans())
@example({-1, 0, 1}, True)
def test_where_local_time_falls_back_no_answer_is_wrong(minutes: set[int], backwards: bool) -> None:
    change, zone = change_of("Europe/Berlin")
    instants = change.at_us + np.array(sorted(minutes)) * MINUTE
    found, truth = answers(instants[::-1] if backwards else instants, "Europe/Berlin")
    if (np.diff(to_local(instants, zone)) < 0).any():
        known = found != UNKNOWN
        assert (found[known] == truth[known]).all()


@given(st.integers(45, 170), st.integers(0, 60), st.integers(3, 8))
def test_sparse_sampling_without_a_fall_back_is_unknown(minutes: int, offset: int, count: int) -> None:
    """Sampling so slow that an hour more between two readings is no hole tells nothing."""
    change, zone = change_of("Europe/Berlin")
    instants = change.at_us + (np.arange(-count, count) * minutes + offset) * MINUTE
    found, _ = answers(instants, "Europe/Berlin")
    if (np.diff(to_local(instants, zone)) > 0).all():
        assert (found == UNKNOWN).all()


def test_points_are_told_apart_one_by_one() -> None:
    change, zone = change_of("Europe/Berlin")
    instants = np.repeat(change.at_us + np.arange(-120, 120, 15) * MINUTE, 2)
    point = np.tile([0, 1], len(instants) // 2)
    only_first = (point == 0) | (instants < change.at_us) | (instants >= change.at_us + 60 * MINUTE)
    instants, point = instants[only_first], point[only_first]
    local = to_local(instants, zone)
    found = folds(point, np.arange(len(local)), local, change)
    twice = (local >= change.first_us) & (local < change.last_us)
    assert (found[twice & (point == 0)] == (instants >= change.at_us)[twice & (point == 0)]).all()
    assert (found[twice & (point == 1)] == UNKNOWN).all()  # this one has a hole of an hour on either side


def test_shuffled_lines_are_unknown() -> None:
    change, _ = change_of("Europe/Berlin")
    instants = change.at_us + np.arange(-120, 120, 10) * MINUTE
    found, _ = answers(np.random.default_rng(3).permutation(instants), "Europe/Berlin")
    assert (found == UNKNOWN).all()


def test_a_lone_reading_is_unknown() -> None:
    change, _ = change_of("Europe/Berlin")
    found, _ = answers(np.array([change.at_us + 5 * MINUTE]), "Europe/Berlin")
    assert found.tolist() == [UNKNOWN]
    assert timedelta(microseconds=change.before_us - change.after_us) == timedelta(hours=1)
