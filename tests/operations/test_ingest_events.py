"""Work-order logs into the ledger: kinds, places, numbers, corrections, and the account of every record."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from condlube.acquisition.definition import parse_source
from condlube.operations.ingest import ingest
from condlube.register.model import Register, Site
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.store import views
from condlube.store.store import Store

NOW = datetime(2026, 3, 10, 6, tzinfo=UTC)
LOG = """
[source]
name = "orders"
files = "orders*.csv"
reader = "events"

[format]
delimiter = ";"
decimal = ","
time_format = "%d.%m.%Y %H:%M"

[columns]
event_id = "Order"
time = "Done"
kind = "Type"
bearing_id = "Place"
grease_g = "Grams"
who = "By"
note = "Text"

[kinds]
"PM-Lube" = "relubrication"
"Repair" = "replacement"

[places]
"FL-100-01" = "B1"

[ignore]
kinds = ["Cleaning"]
"""
HEADER = "Order;Done;Type;Place;Grams;By;Text\n"
REGISTER = Register(
    rows_to_table("bearings", [{"bearing_id": b, "machine_id": "M1"} for b in ("B1", "B2")]),
    arrow_schema("greases").empty_table(),
    arrow_schema("points").empty_table(),
    "",
    Site("here", ZoneInfo("Europe/Berlin")),
)


@pytest.fixture
def take(tmp_path: Path):
    store = Store.open(tmp_path / "store")
    count = iter(range(100))

    def run(*lines: str, definition: str = LOG, now: datetime = NOW):
        path = tmp_path / f"orders{next(count):02}.csv"
        path.write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
        os.utime(path, (1_700_000_000, 1_700_000_000))
        sources = (parse_source(definition, "orders.toml"),)
        with store.writer() as writer:
            report = ingest(SimpleNamespace(folder=tmp_path, sources=sources), REGISTER, writer, now)
        return report.files[-1]

    run.store = store
    return run


def test_records_become_events_and_the_rest_is_accounted_for(take) -> None:
    report = take(
        "4711;01.03.2026 07:30;PM-Lube;FL-100-01;12,5;R. Alves;ok",
        "4712;01.03.2026 08:00;Cleaning;FL-100-01;;;",
        "4713;01.03.2026 08:00;Painting;FL-100-01;;;",
        "4714;01.03.2026 08:00;painting;FL-100-01;;;",
        "4715;01.03.2026 08:00;Repair;FL-999;;;",
        "4716;01.03.2026 08:00;PM-Lube;B2;12.5;;",
        "4717;31.02.2026 08:00;PM-Lube;B2;12;;",
        "4718;29.03.2027 08:00;PM-Lube;B2;12;;",
        '4719;02.03.2026 08:00;Repair;B2;;;"seat worn,\nshaft polished; see photo"',
        "4720;02.03.2026 08:00",
        "4721;02.03.2026 09:00;PM-Lube;;10;;",
    )
    assert (report.lines, report.stored, report.duplicate, report.rejected) == (11, 2, 0, 9)
    assert report.by_reason == {
        "unknown_kind": 2, "ignored_kind": 1, "unknown_place": 2, "event_field": 1, "time_unreadable": 1, "future": 1,
        "field_count": 1,
    }  # fmt: skip
    events = {row["event_id"]: row for row in take.store.ledger_rows("events")}
    assert set(events) == {"orders:4711", "orders:4719"}
    lube = events["orders:4711"]
    assert (lube["kind"], lube["bearing_id"], lube["machine_id"], lube["grease_g"]) == (
        "relubrication",
        "B1",
        "M1",
        12.5,
    )
    assert (lube["time"], lube["known_at"], lube["who"]) == (datetime(2026, 3, 1, 6, 30, tzinfo=UTC), NOW, "R. Alves")
    assert events["orders:4719"]["note"] == "seat worn, shaft polished; see photo"
    rejects = {r["line"]: r for r in take.store.snapshot().read("rejects").to_pylist()}
    assert rejects[7]["field"] == "Grams"
    assert rejects[6]["field"] == "Place"
    assert rejects[4]["repeats"] == 2
    assert rejects[6]["raw"] == "4715;01.03.2026 08:00;Repair;FL-999;;;"


def test_the_same_record_again_is_a_duplicate_and_a_changed_one_a_correction(take) -> None:
    take("4711;01.03.2026 07:30;PM-Lube;FL-100-01;12,5;R. Alves;ok")
    later = NOW + timedelta(days=1)
    again = take("4711;01.03.2026 07:30;PM-Lube;B1;12,50;R. Alves;ok",
                 "4711;01.03.2026 07:30;PM-Lube;B1;15;R. Alves;ok",
                 "4711;01.03.2026 07:30;PM-Lube;B1;15,0;R. Alves;ok", now=later)  # fmt: skip
    assert (again.lines, again.stored, again.duplicate) == (3, 1, 2)
    first, second = take.store.ledger_rows("events")
    assert second["supersedes"] == first["event_id"] == "orders:4711"
    (visible,) = views.events_visible(take.store.snapshot(), later, later).to_pylist()
    assert visible["grease_g"] == 15
    back = take("4711;01.03.2026 07:30;PM-Lube;B1;12,5;R. Alves;ok", now=later)  # the order is changed back
    assert back.stored == 1
    (visible,) = views.events_visible(take.store.snapshot(), later, later).to_pylist()
    assert visible["grease_g"] == 12.5


def test_without_a_number_the_event_is_known_by_what_it_says(take) -> None:
    definition = LOG.replace('event_id = "Order"\n', "")
    line = ";01.03.2026 07:30;PM-Lube;B1;12,5;;"
    assert (take(line, definition=definition).stored, take(line, line, definition=definition).duplicate) == (1, 2)


def test_a_date_alone_is_noon(take) -> None:
    definition = LOG.replace(" %H:%M", "")
    take("1;01.03.2026;PM-Lube;B1;12;;", definition=definition)
    assert take.store.ledger_rows("events")[0]["time"] == datetime(2026, 3, 1, 11, tzinfo=UTC)


def test_history_is_known_from_its_own_time(take) -> None:
    definition = LOG.replace('reader = "events"', 'reader = "events"\nhistory = true\ndelay_h = 12')
    take("1;01.03.2026 07:30;PM-Lube;B1;12;;", definition=definition)
    assert take.store.ledger_rows("events")[0]["known_at"] == datetime(2026, 3, 1, 18, 30, tzinfo=UTC)
