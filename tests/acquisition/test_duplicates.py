"""Duplicates against a plain dictionary that does the same line by line."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from condlube.acquisition.duplicates import newest, not_stored, settle
from condlube.acquisition.normalise import READING

ROWS = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 5), st.integers(0, 2), st.integers(0, 1)), max_size=40)
SCALES = st.sampled_from([1, 1_000_000, 3_600_000_000])


def readings(rows: list[tuple[int, int, int, int]], scale: int) -> np.ndarray:
    array = np.zeros(len(rows), READING)
    for k, (point, time, value, quality) in enumerate(rows):
        array[k] = (time * scale, value, point, 0, k + 2, quality)
    return array


def key(reading: np.void) -> tuple[int, int]:
    return int(reading["point"]), int(reading["time"])


@given(ROWS, SCALES, st.randoms(use_true_random=False))
def test_the_last_line_of_a_file_holds(rows: list, scale: int, random) -> None:
    given_rows = readings(rows, scale)
    shuffled = given_rows[random.sample(range(len(rows)), len(rows))]  # blocks may come back in another order
    kept, conflicting = settle(shuffled)
    last = {key(reading): reading for reading in given_rows}
    assert {key(r): r.item() for r in kept} == {k: r.item() for k, r in last.items()}
    assert [key(r) for r in kept] == sorted(last)
    unlike = [r for r in given_rows if r[["value", "quality"]] != last[key(r)][["value", "quality"]]]
    assert sorted(conflicting["line"]) == sorted(r["line"] for r in unlike)


@given(ROWS, ROWS, SCALES)
def test_what_is_stored_just_so_is_not_stored_again(old: list, new: list, scale: int) -> None:
    held = {key(r): (r["value"], r["quality"]) for r in readings(old, scale)}
    stored = newest(readings(old, scale))
    assert {key(r): (r["value"], r["quality"]) for r in stored} == held
    kept, _ = settle(readings(new, scale))
    fresh = not_stored(kept, stored)
    assert fresh.tolist() == [held.get(key(r)) != (r["value"], r["quality"]) for r in kept]
