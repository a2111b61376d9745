from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from condlube.errors import ConfigurationError
from condlube.register.canonical import dump, restore
from condlube.register.limits import LIMITS
from condlube.register.model import Register, Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import arrow_schema
from condlube.schema.columns import COLUMNS
from condlube.schema.tables import TABLES

Make = Callable[..., Register]
SITE = Site("Mill", ZoneInfo("Europe/Lisbon"))
BEARINGS = "bearing_id,designation,speed_rpm,grease_assigned,mounted\nA,6310,1480,G1,2021-03-01\nB,22220 E,990,G2,\n"
GREASES = "grease_id,thickener,temperature_max_degc\nG1,polyurea,150\nG2,lithium,120\n"
POINTS = "point_id,bearing_id,quantity,unit\nT1,A,temperature,degF\nU1,B,ultrasound,\n"


def test_tables_have_the_schema(register: Make) -> None:
    made = register(BEARINGS, GREASES, POINTS)
    for name in ("bearings", "greases", "points"):
        assert getattr(made, name).schema == arrow_schema(name)
        getattr(made, name).validate(full=True)


def test_neither_row_nor_column_order_nor_spelling_changes_the_register(register: Make) -> None:
    first = register(BEARINGS, GREASES, POINTS)
    other = register(
        "\ufeffMounted;Grease assigned;SPEED RPM;designation;bearing_id;\n"
        ";G2;990,0;22220 E;B;\n\n2021-03-01;G1;1480;6310;A;\n",
        "temperature_max_degc\tgrease_id\tthickener\n120\tG2\tlithium\n1.5e2\tG1\tPolyurea\n",
        "unit,quantity,bearing_id,point_id\ndB,Ultrasound,B,U1\ndegF,temperature,A,T1\n",
    )
    assert other == first


@pytest.mark.parametrize(
    ("files", "site"),
    [
        ((BEARINGS.replace("1480", "1481"), GREASES, POINTS), SITE),
        ((BEARINGS, GREASES.replace("polyurea", "lithium"), POINTS), SITE),
        ((BEARINGS, GREASES, POINTS.replace("degF", "degC")), SITE),
        ((BEARINGS, GREASES, None), SITE),
        ((BEARINGS, GREASES, POINTS), replace(SITE, zone=ZoneInfo("UTC"))),
        ((BEARINGS, GREASES, POINTS), replace(SITE, assumed_last_greasing=date(2024, 1, 1))),
    ],
)
def test_the_digest_tells_what_was_changed(register: Make, files: tuple[str, ...], site: Site) -> None:
    assert register(*files, site=site).digest != register(BEARINGS, GREASES, POINTS).digest


def test_the_canonical_text_reads_back_as_the_same_register(register: Make) -> None:
    made = register(BEARINGS, GREASES, POINTS, replace(SITE, assumed_last_greasing=date(2024, 1, 1)))
    assert restore(dump(made)) == made


@pytest.mark.parametrize("note", ["sep=;\n", "sep=,\r\n", '"sep=;"\n'])
def test_a_first_line_that_tells_the_delimiter_is_passed_over(register: Make, note: str) -> None:
    delimiter = "," if "," in note else ";"
    with pytest.raises(ConfigurationError) as caught:
        register(note + "bearing_id,designation,speed_rpm\nA,6310,0\n".replace(",", delimiter))
    assert [(f.line, f.column) for f in caught.value.faults] == [(3, "speed_rpm")]


def test_points_take_machine_and_tag_from_what_they_stand_for(register: Make) -> None:
    rows = register(
        "bearing_id,machine_id,designation,speed_rpm\nA,M1,6310,1480\n",
        points="point_id,bearing_id,machine_id,tag,quantity,unit\nT1,A,,,temperature,degC\nN1,,M1,SI.1,speed,r/min\n"
        "AMB,,,,ambient,degC\n",
    ).points.to_pylist()
    assert [(p["point_id"], p["machine_id"], p["tag"]) for p in rows] == [
        ("AMB", None, "AMB"),
        ("N1", "M1", "SI.1"),
        ("T1", "M1", "T1"),
    ]
    assert {p["sampling"] for p in rows} == {"continuous"}


def test_a_tag_may_move_to_another_point(register: Make) -> None:
    made = register(
        "bearing_id,designation,speed_rpm\nA,6310,1480\nB,6310,1480\n",
        points="point_id,bearing_id,tag,quantity,unit,valid_from,valid_to\nT1,A,TT1,temperature,degC,,2024-05-31\n"
        "T2,B,TT1,temperature,degC,2024-06-01,\n",
    )
    assert made.points.num_rows == 2


def test_every_number_of_the_register_has_its_limits() -> None:
    given = {name for table in ("bearings", "greases", "points") for name in TABLES[table].columns}
    assert {name for name in given if COLUMNS[name].type == "float"} <= LIMITS.keys()


def test_quoted_text_may_run_over_lines_and_faults_still_name_the_line(register: Make) -> None:
    with pytest.raises(ConfigurationError) as caught:
        register("bearing_id,designation,speed_rpm\nA,6310,1480\n", 'grease_id,note,nlgi\nG1,"two\nlines",2\nG2,,9\n')
    assert [(f.file, f.line, f.column, f.seen) for f in caught.value.faults] == [("greases.csv", 4, "nlgi", "9")]


def test_one_fault_does_not_draw_others_after_it(register: Make) -> None:
    """A lost column of ids leaves nothing to point at; that alone is told."""
    with pytest.raises(ConfigurationError) as caught:
        register("bearing,designation,speed_rpm,grease_assigned\nA,6310,1480,G1\n", "grease,nlgi\nG1,2\n", POINTS)
    assert {(f.file, f.column) for f in caught.value.faults} == {
        ("bearings.csv", "bearing"), ("bearings.csv", "bearing_id"), ("greases.csv", "grease"),
        ("greases.csv", "grease_id"),
    }  # fmt: skip


def test_many_bearings_share_no_cost(register: Make) -> None:
    """Ten thousand rows parse, and every one of ten thousand faults is told."""
    rows = "".join(f"B{k},6310,{1480 if k % 2 else 0}\n" for k in range(10_000))
    with pytest.raises(ConfigurationError) as caught:
        register("bearing_id,designation,speed_rpm\n" + rows)
    assert len(caught.value.faults) == 5_000


def test_the_register_needs_neither_pandas_nor_the_units_library() -> None:
    code = (
        "import sys; from zoneinfo import ZoneInfo; from condlube.register.model import Site, Text;"
        "from condlube.register.parse import parse_register; from condlube.register.events import parse_events;"
        "r = parse_register(Text('b', 'bearing_id,designation,speed_rpm\\nA,6310,1480\\n'), None, None,"
        " Site('Mill', ZoneInfo('UTC')));"
        "parse_events(Text('e', 'time,kind,bearing_id\\n2024-06-01,relubrication,A\\n'), r);"
        "print([m for m in ('pandas', 'pint', 'sklearn', 'statsmodels') if m in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


PIECES = [*',;"\n\r\t\x00\ufeff .-0é٣', "nan", "1e999", "=1"]


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 400), st.sampled_from(PIECES))),
    st.sampled_from([BEARINGS, GREASES, POINTS]),
)
def test_a_damaged_file_is_read_or_refused_with_faults(damage: list[tuple[int, str]], base: str) -> None:
    text = base
    for place, piece in damage:
        place %= len(text) + 1
        text = text[:place] + piece + text[place:]
    files = [text if original == base else original for original in (BEARINGS, GREASES, POINTS)]
    try:
        made = parse_register(*(Text(f"{k}.csv", file) for k, file in enumerate(files)), SITE)
    except ConfigurationError:
        return
    assert restore(dump(made)) == made
