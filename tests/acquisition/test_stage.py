"""The stage: what goes in comes out once, points whole, in memory or through files."""

from __future__ import annotations

import numpy as np
import pytest

from condlube.acquisition.normalise import READING
from condlube.acquisition.stage import Stage


@pytest.mark.parametrize("in_memory", [10, 500, 1_000_000])
@pytest.mark.parametrize("part", [7, 200, 1_000_000])
@pytest.mark.parametrize("points", [1, 13, 1000])
def test_all_readings_come_back_with_their_points_whole(in_memory: int, part: int, points: int) -> None:
    rng = np.random.default_rng(7)
    with Stage(points, in_memory, part) as stage:
        given = []
        for k in range(9):
            block = np.zeros(97, READING)
            block["point"] = rng.integers(0, points, 97)
            block["line"] = np.arange(97) + 97 * k
            stage.add(block)
            given.append(block)
        parts = list(stage.parts())
    everything = np.concatenate(parts)
    assert stage.count == len(everything) == 9 * 97
    assert (np.sort(everything, order="line") == np.concatenate(given)).all()
    seen = [set(each["point"].tolist()) for each in parts]
    assert sum(map(len, seen)) == len(set().union(*seen))
    for each in parts:
        for point in np.unique(each["point"]):
            assert (np.diff(each["line"][each["point"] == point]) > 0).all()


def test_an_empty_stage_has_one_empty_part() -> None:
    with Stage(5) as stage:
        stage.add(np.empty(0, READING))
        assert [len(part) for part in stage.parts()] == [0]
