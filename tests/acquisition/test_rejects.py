"""Rejects: counted by what they stand for, the same in memory and through a file."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime

import numpy as np
import pytest

from condlube.acquisition import rejects as module
from condlube.acquisition.reasons import CODE, NAME, REASONS, ROLE
from condlube.acquisition.rejects import Rejects
from condlube.schema.arrow import arrow_schema

NOW = datetime(2026, 3, 1, tzinfo=UTC)


@pytest.mark.parametrize("in_memory", [2, 1_000_000])
def test_rejects_come_back_as_they_went_in(in_memory: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_IN_MEMORY", in_memory)
    with closing(Rejects()) as rejects:
        for k in range(5):
            reason = np.array([CODE["future"], CODE["unknown_tag"]])
            rejects.add(np.array([k, k + 100]), reason, ["time", "tag"], [f"raw {k}", "x"], np.array([1, 3]))
        rejects.add(np.empty(0, np.int64), np.empty(0, np.int64), [], [], np.empty(0, np.int64))
        assert rejects.count == 20
        assert rejects.by_reason == {"future": 5, "unknown_tag": 15}
        tables = list(rejects.tables("id", "source", "file.csv", NOW))
    rows = [row for table in tables for row in table.to_pylist()]
    assert all(table.schema == arrow_schema("rejects") for table in tables)
    assert [(r["line"], r["reason"], r["raw"], r["repeats"]) for r in rows if r["reason"] == "future"] == [
        (k, "future", f"raw {k}", 1) for k in range(5)
    ]
    assert {(r["ingest_id"], r["source"], r["file"], r["known_at"]) for r in rows} == {
        ("id", "source", "file.csv", NOW)
    }


def test_no_rejects_no_tables() -> None:
    with closing(Rejects()) as rejects:
        assert list(rejects.tables("id", "s", "f", NOW)) == []


def test_every_reason_has_a_sentence_and_a_code_of_its_own() -> None:
    assert {NAME[code] for code in CODE.values()} == set(REASONS)
    assert set(ROLE) < set(REASONS)
    assert all(sentence[0].islower() and not sentence.endswith(".") for sentence in REASONS.values())
