from __future__ import annotations

from pathlib import Path

import pytest

from condlube.errors import ConfigurationError
from condlube.operations.check import check
from condlube.operations.definition import load
from condlube.operations.shipped import shipped

DEFINITION = '[site]\nname = "Mill"\nzone = "Europe/Lisbon"\n'


def site(folder: Path, site_lines: str = "", **files: str) -> Path:
    named = "".join(f'{name} = "{name}.csv"\n' for name in files)
    (folder / "nightly.toml").write_text(DEFINITION + site_lines + "[files]\n" + named)
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


BEARINGS = "bearing_id,designation,speed_rpm\nA,6310,1480\nB,6310,1480\n"


def test_the_starter_site_has_no_fault() -> None:
    checked = check(shipped("pipelines"))
    assert checked.definition == load(shipped("pipelines"))
    assert checked.register.bearings.num_rows == 6
    assert checked.register.points.num_rows == 7
    assert checked.events.num_rows == 3
    assert checked.policy.for_criticality("highest").cost.hold.damaged == 200.0


def test_a_site_may_be_bearings_alone(tmp_path: Path) -> None:
    checked = check(site(tmp_path, bearings=BEARINGS))
    assert (checked.register.points.num_rows, checked.events.num_rows) == (0, 0)


def test_missing_history_is_asked_for(tmp_path: Path) -> None:
    events = "time,kind,bearing_id\n2024-06-01,relubrication,A\n"
    warnings = check(site(tmp_path, bearings=BEARINGS, events=events)).warnings
    asked = [w for w in warnings if "no greasing on record" in w]
    assert [w.split(":")[0] for w in asked] == ["B"]


@pytest.mark.parametrize(
    ("line", "bearings"),
    [
        ("assumed_last_greasing = 2024-01-01\n", BEARINGS),
        ("", "bearing_id,designation,speed_rpm,commissioned\nA,6310,1480,2020-01-01\n"),
        ("", "bearing_id,designation,speed_rpm\nA,6310-2RS1,1480\n"),
    ],
)
def test_history_is_not_asked_for_where_a_date_stands_or_nobody_greases(
    tmp_path: Path, line: str, bearings: str
) -> None:
    assert not any("no greasing on record" in w for w in check(site(tmp_path, line, bearings=bearings)).warnings)


@pytest.mark.parametrize(
    ("files", "warning"),
    [
        ({"bearings": BEARINGS}, "A, B: no grease assigned"),
        ({"bearings": BEARINGS}, "A, B: no measuring point"),
        ({"bearings": BEARINGS.replace("B,6310", "B,6310 QQ7")}, "B: a suffix of the designation is not known"),
        ({"bearings": "bearing_id,designation,speed_rpm,supply\nA,6310,1480,oil\n"}, "A: lubricated with oil"),
        ({"bearings": BEARINGS, "greases": "grease_id\nG1\n"}, "G1: no temperature_max_degc"),
    ],
)
def test_warnings(tmp_path: Path, files: dict[str, str], warning: str) -> None:
    assert any(w.startswith(warning) for w in check(site(tmp_path, **files)).warnings)


def test_a_warning_names_a_few_bearings_and_counts_the_rest(tmp_path: Path) -> None:
    rows = "".join(f"B{k},6310,1480\n" for k in range(9))
    warnings = check(site(tmp_path, bearings="bearing_id,designation,speed_rpm\n" + rows)).warnings
    assert any(w.startswith("B0, B1, B2, B3, B4 and 4 more: no grease assigned") for w in warnings)


def test_a_fault_in_one_file_does_not_hide_one_in_another(tmp_path: Path) -> None:
    folder = site(
        tmp_path,
        bearings=BEARINGS.replace("1480", "x", 1),
        points="point_id,bearing_id,quantity,unit\nT1,A,temperature,bar\n",
        events="time,kind,bearing_id\n2024-06-01,relubrication,C\n",
    )
    with pytest.raises(ConfigurationError) as caught:
        check(folder)
    assert [(f.file, f.line, f.column) for f in caught.value.faults] == [
        ("bearings.csv", 2, "speed_rpm"), ("events.csv", 2, "bearing_id"), ("points.csv", 2, "unit"),
    ]  # fmt: skip


def test_a_file_that_is_not_there_draws_no_other_fault(tmp_path: Path) -> None:
    folder = site(
        tmp_path,
        bearings="bearing_id,designation,speed_rpm,grease_assigned\nA,6310,1480,G1\n",
        greases="grease_id\nG1\n",
        points="point_id,bearing_id,quantity\nU1,A,ultrasound\n",
        events="time,kind,point_id,grease_id\n2024-06-01,sensor_moved,U1,G1\n",
    )
    (folder / "greases.csv").unlink()
    (folder / "points.csv").unlink()
    with pytest.raises(ConfigurationError) as caught:
        check(folder)
    assert [f.column for f in caught.value.faults] == ["files.greases", "files.points"]
