"""Rows of every table, and an empty store."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import pyarrow as pa
import pytest

from condlube.schema.arrow import rows_to_table
from condlube.store.store import Store

NOW = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)


FIRST = datetime(2026, 2, 27, tzinfo=UTC)


def readings(ingest_id="a", points=("P2", "P1"), first=FIRST, hours=72, value=1.0, known_at=NOW):
    """Hourly readings, 72 of them across the turn of the month, points out of order."""
    return rows_to_table(
        "readings",
        [
            {
                "point_id": point, "time": first + timedelta(hours=hour), "value": value, "quality": "good",
                "known_at": known_at, "ingest_id": ingest_id,
            }
            for hour in reversed(range(hours))
            for point in points
        ],
    )  # fmt: skip


def summaries(day=date(2026, 3, 1), cells=(0, 1), known_at=NOW, median=1.0, points=("P1", "P2")):
    return rows_to_table(
        "summaries",
        [
            {"point_id": p, "date": day, "cell": cell, "known_at": known_at, "n": 24, "median": median}
            for p in points
            for cell in cells
        ],
    )


def decisions(run_id="r1", night=date(2026, 3, 1), bearings=("B2", "B1"), call="hold"):
    return rows_to_table(
        "decisions", [{"run_id": run_id, "night": night, "bearing_id": b, "call": call, "x": 0.5} for b in bearings]
    )


def evidence(run_id="r1", night=date(2026, 3, 1), bearings=("B2", "B1"), rows=3):
    return rows_to_table(
        "evidence",
        [
            {"run_id": run_id, "night": night, "bearing_id": b, "ordinal": k, "source": "prior", "bits_starved": -0.5}
            for b in bearings
            for k in range(rows)
        ],
    )


def same(left, right):
    """Whether two tables hold the same rows, in whatever order."""
    order = [(field.name, "ascending") for field in left.schema if not pa.types.is_list(field.type)]
    return left.schema == right.schema and left.sort_by(order).equals(right.sort_by(order))


@pytest.fixture
def store(tmp_path):
    return Store.open(tmp_path / "store")


@pytest.fixture(scope="session")
def make():
    """The makers of rows above."""
    return SimpleNamespace(
        readings=readings, summaries=summaries, decisions=decisions, evidence=evidence, same=same, now=NOW
    )
