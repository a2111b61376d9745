"""Which days are summarised again when readings come late, and what of it holds."""

from datetime import date, datetime, timedelta

import pytest
from small_site import DAYS, FIRST, NIGHTS, NOW, SOURCE, write_small_site

from condlube.operations.definition import load
from condlube.operations.nightly import nightly
from condlube.store import views
from condlube.store.store import Store

HALF_DAYS = range(12, 19)
"""Days on which machine M2 stands still from midnight to noon. Before them it never stood still; day 20 it does."""


def day(k: int) -> date:
    return (FIRST + timedelta(days=k)).date()


def local_day(line: str) -> int:
    """Days since the first, by the site's summer time."""
    return (datetime.fromisoformat(line.split(",")[0]) + timedelta(hours=1) - FIRST).days


def is_standing(time: str, tag: str) -> bool:
    k = local_day(time)
    return tag.startswith("M2") and (k == 20 or (k in HALF_DAYS and int(time[11:13]) < 12))


def at_standstill(line: str) -> str:
    time, tag, value, quality = line.split(",")
    if is_standing(time, tag):
        value = {"ultrasound": "2.0", "velocity": "0.02", "temperature": "25.0"}[tag.split(".")[1]]
    return ",".join((time, tag, value, quality))


@pytest.fixture
def site(tmp_path):
    """The small site with machine M2 standing still at times, its export given day by day."""

    def build(name):
        folder = write_small_site(tmp_path / name)
        header, *lines = (folder / "exports" / "all.csv").read_text().splitlines()
        lines = [at_standstill(line) for line in lines if line.split(",")[1] != "UNKNOWN.TAG"]
        (folder / "exports" / "all.csv").unlink()

        def export(file, days):
            chosen = [line for line in lines if local_day(line) in days]
            (folder / "exports" / file).write_text("\n".join([header, *chosen]) + "\n")

        return folder, export

    return build


def summaries(folder):
    definition = load(folder)
    snapshot = Store.open(definition.store, definition.ledger).snapshot()
    known_by = views.newest_known(snapshot)
    frame = views.summaries(snapshot, known_by).to_pandas().drop(columns="known_at")
    return frame.sort_values(["point_id", "date", "cell"], ignore_index=True)


def test_late_days_are_summarised_as_if_they_had_come_in_time(site):
    """Day 20 is a standstill only to one who remembers days 12 to 18, which lie between the two late days."""
    late, in_time = site("late"), site("in-time")
    late[1]("most.csv", set(range(DAYS)) - {10, 20})
    nightly(late[0], NOW, NIGHTS[:1])
    late[1]("rest.csv", {10, 20})
    nightly(late[0], NOW, NIGHTS[1:2])
    in_time[1]("all.csv", set(range(DAYS)))
    nightly(in_time[0], NOW, NIGHTS[1:2])

    touched = [day(10), day(11), day(20), day(21)]
    found, expected = (frame[frame["date"].isin(touched)] for frame in (summaries(late[0]), summaries(in_time[0])))
    standing = expected[(expected["date"] == day(20)) & (expected["point_id"] == "M2-DE.velocity")]
    assert standing["running_h"].tolist() == [0.0]
    for name in found.columns:
        assert [repr(v) for v in found[name]] == [repr(v) for v in expected[name]], name


def test_a_late_reading_on_the_last_of_a_month_touches_the_first_of_the_next(site):
    folder, export = site("edge")
    export("most.csv", set(range(DAYS)) - {35})
    nightly(folder, NOW, NIGHTS[:1])
    before = versions(folder, day(36))
    export("rest.csv", {35})
    nightly(folder, NOW, NIGHTS[1:2])
    assert day(36).day == 1
    assert versions(folder, day(36)) == 2 * before


def versions(folder, on):
    definition = load(folder)
    stored = Store.open(definition.store, definition.ledger).snapshot().read("summaries", ["date"])
    return stored["date"].to_pylist().count(on)


def test_history_brought_in_after_live_readings_of_the_same_times_holds(tmp_path):
    """The history is known as of its own time, earlier than the live readings that it corrects."""
    folder = write_small_site(tmp_path)
    (folder / "history.toml").write_text(
        SOURCE.replace('"long"', '"history"', 1).replace("exports/*.csv", "history/*.csv")
    )
    (folder / "long.toml").write_text(SOURCE.replace("history = true", "history = false"))
    definition = folder / "nightly.toml"
    definition.write_text(definition.read_text().replace('["long.toml"]', '["long.toml", "history.toml"]'))
    nightly(folder, NOW, NIGHTS[:1])
    (folder / "history").mkdir()
    header, *lines = (folder / "exports" / "all.csv").read_text().splitlines()
    rows = [line.split(",") for line in lines if local_day(line) in (7, 8, 9) and ",M1-" in line]
    again = [",".join([time, tag, str(2 * float(value)), "Good"]) for time, tag, value, _ in rows]
    (folder / "history" / "again.csv").write_text("\n".join([header, *again]) + "\n")
    nightly(folder, NOW, NIGHTS[1:2])
    frame = summaries(folder)
    corrected = frame[(frame["point_id"] == "M1-NDE.velocity") & (frame["date"] == day(9))]
    assert 2.8 < corrected["median"].max() < 3.2  # twice what the live readings said
