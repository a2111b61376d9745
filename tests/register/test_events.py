from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pyarrow as pa
import pytest

from condlube.errors import ConfigurationError
from condlube.register.events import PLACES, parse_events
from condlube.register.model import Register, Text
from condlube.schema.arrow import arrow_schema
from condlube.schema.words import EVENT_KINDS

HEAD = "time,kind,bearing_id,grease_g,note\n"


@pytest.fixture
def mill(register: Callable[..., Register]) -> Register:
    return register(
        "bearing_id,machine_id,designation,speed_rpm\nA,M1,6310,1480\nB,M1,6310,1480\n",
        "grease_id\nG1\n",
        "point_id,bearing_id,quantity\nU1,A,ultrasound\n",
    )


def rows(text: str, register: Register) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = parse_events(Text("events.csv", text), register).to_pylist()
    return made


def test_a_greasing(mill: Register) -> None:
    table = parse_events(Text("events.csv", HEAD + "2024-06-01 10:00,relubrication,A,12,\n"), mill)
    assert isinstance(table, pa.Table)
    assert table.schema == arrow_schema("events")
    (row,) = table.to_pylist()
    assert row["time"] == datetime(2024, 6, 1, 9, tzinfo=UTC)
    assert (row["bearing_id"], row["machine_id"], row["grease_g"], row["known_at"]) == ("A", "M1", 12.0, None)


def test_no_event_is_a_table_too(mill: Register) -> None:
    assert rows(HEAD, mill) == []


def test_the_same_row_is_the_same_event_however_it_is_written(mill: Register) -> None:
    one = rows(HEAD + "2024-06-01 10:00,relubrication,A,12,\n", mill)
    other = rows("kind;bearing_id;time;grease_g;who\nRelubrication;A;2024-06-01T09:00Z;12,0;\n", mill)
    assert one == other


@pytest.mark.parametrize("change", ["10:01,relubrication,A,12", "10:00,inspection,A,12", "10:00,relubrication,B,12"])
def test_another_row_is_another_event(mill: Register, change: str) -> None:
    (one,) = rows(HEAD + "2024-06-01 10:00,relubrication,A,12,\n", mill)
    (other,) = rows(HEAD + f"2024-06-01 {change},\n", mill)
    assert one["event_id"] != other["event_id"]


def test_the_name_of_an_event_does_not_hang_on_the_register(mill: Register, register: Callable[..., Register]) -> None:
    moved = register("bearing_id,machine_id,designation,speed_rpm\nA,M9,6310,1480\n")
    text = HEAD + "2024-06-01 10:00,relubrication,A,12,\n"
    assert rows(text, mill)[0]["event_id"] == rows(text, moved)[0]["event_id"]
    assert rows(text, mill)[0]["machine_id"] != rows(text, moved)[0]["machine_id"]


def test_an_event_at_a_point_is_one_of_its_bearing(mill: Register) -> None:
    (row,) = rows("time,kind,point_id\n2024-06-01,sensor_moved,U1\n", mill)
    assert (row["bearing_id"], row["machine_id"]) == ("A", "M1")


def test_every_kind_of_event_can_be_recorded(mill: Register) -> None:
    assert PLACES.keys() <= set(EVENT_KINDS)
    text = "".join(f"2024-06-01 10:00,{kind},A,M1,U1,E0\n" for kind in EVENT_KINDS)
    made = rows("time,kind,bearing_id,machine_id,point_id,supersedes\n" + text, mill)
    assert {row["kind"] for row in made} == set(EVENT_KINDS)


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("time,kind,bearing_id\n2024-06-01,withdrawn,A\n", "supersedes"),
        ("time,kind,bearing_id,failure_mode\n2024-06-01,failure,A,vibration\n", "failure_mode"),
        ("time,kind,bearing_id,known_at\n2024-06-02,failure,A,2024-06-01\n", "known_at"),
        ("time,kind,bearing_id,point_id\n2024-06-02,inspection,B,U1\n", "bearing_id"),
        ("time,kind\n2024-06-02,replacement\n", "bearing_id"),
    ],
)
def test_faults(mill: Register, text: str, column: str) -> None:
    with pytest.raises(ConfigurationError) as caught:
        rows(text, mill)
    assert [(f.line, f.column) for f in caught.value.faults] == [(2, column)]
