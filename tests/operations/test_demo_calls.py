"""Every situation of the demo plant gets the call that a good engineer would make, on the nights that decide it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pytest

from condlube.operations.demo import demo_nights, description
from condlube.operations.explain import explain
from condlube.operations.nightly import Nightly
from condlube.schema.nights import nights_between
from condlube.store.store import Store


@dataclass(frozen=True)
class Expected:
    """One row of the truth."""

    situation: str
    bearing_id: str
    first: date
    last: date
    calls: frozenset[str]
    look_at: str
    status: str


def expectations() -> list[Expected]:
    situations = tomllib.loads((description() / "situations.toml").read_text("utf-8"))["situation"]
    return [
        Expected(
            situation["name"], bearing_id, row["first"], row["last"], frozenset(row["call"].split()),
            row.get("look_at", ""), row.get("status", ""),
        )
        for situation in situations
        for bearing_id in situation["bearings"]
        for row in situation.get("expect", [])
    ]  # fmt: skip


# Where the engine does not yet do what the truth asks for, by test and row; the mark falls with the cure.
NOT_YET: dict[str, str] = {}


def rows_of(test: str, field: str = "calls") -> list[object]:
    """The rows that say something of ``field``, as parameters of a test."""
    made = []
    for row in expectations():
        name = f"{row.situation} {row.bearing_id} {row.first.day}"
        reason = NOT_YET.get(f"{test} {name}")
        marks = [pytest.mark.xfail(strict=True, reason=reason)] if reason else []
        if getattr(row, field):
            made.append(pytest.param(row, id=name.replace(" ", "-"), marks=marks))
    return made


@pytest.fixture(scope="module")
def decisions(demo_run: Nightly) -> pa.Table:
    definition = demo_run.checked.definition
    return Store.open(definition.store, definition.ledger).snapshot().read("decisions")


def on_nights(decisions: pa.Table, bearing_id: str, first: date, last: date) -> list[dict[str, object]]:
    night = decisions["night"]
    within = pc.and_(pc.greater_equal(night, pa.scalar(first)), pc.less_equal(night, pa.scalar(last)))
    rows = decisions.filter(pc.and_(within, pc.equal(decisions["bearing_id"], bearing_id)))
    return rows.sort_by("night").to_pylist()


def test_every_bearing_is_decided_every_night(demo_run: Nightly, decisions: pa.Table):
    assert len(demo_run.mornings) == 14
    assert decisions.num_rows == 14 * demo_run.checked.register.bearings.num_rows
    assert decisions.filter(pc.is_null(decisions["call"])).num_rows == 0


@pytest.mark.parametrize("expected", rows_of("call"))
def test_call(decisions: pa.Table, expected: Expected):
    rows = on_nights(decisions, expected.bearing_id, expected.first, expected.last)
    assert len(rows) == (expected.last - expected.first).days + 1
    wrong = [f"{r['night']}: {r['call']} ({r['basis']})" for r in rows if r["call"] not in expected.calls]
    assert not wrong


@pytest.mark.parametrize("expected", rows_of("look_at", "look_at"))
def test_what_to_look_at_first(decisions: pa.Table, expected: Expected):
    rows = on_nights(decisions, expected.bearing_id, expected.first, expected.last)
    assert [str(r["night"]) for r in rows if r["look_at"] != expected.look_at] == []


@pytest.mark.parametrize("expected", rows_of("status", "status"))
def test_what_the_condition_data_could_say(decisions: pa.Table, expected: Expected):
    rows = on_nights(decisions, expected.bearing_id, expected.first, expected.last)
    assert [str(r["night"]) for r in rows if r["condition_status"] != expected.status] == []


def test_ordinary_bearings_are_left_alone(decisions: pa.Table):
    """Where nothing happens: never inspect, and grease only when the interval is used up."""
    concerned = {expected.bearing_id for expected in expectations()}
    for row in decisions.to_pylist():
        if row["bearing_id"] not in concerned:
            assert row["call"] != "inspect", (row["bearing_id"], row["night"], row["basis"])
            assert row["call"] == "hold" or row["x"] >= 1.0, (row["bearing_id"], row["night"], row["x"])


def test_a_believable_handful_is_due(decisions: pa.Table):
    for night in nights_between(*demo_nights()):
        rows = decisions.filter(pc.equal(decisions["night"], pa.scalar(night)))
        due = pc.sum(pc.equal(rows["call"], "grease")).as_py()
        assert 1 <= due <= 8, night


def test_the_readme_shows_a_decision_of_the_demo_as_it_is(demo_run: Nightly):
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert explain(demo_run.checked.definition.folder, "F-3101-MND").text(110) in readme
