import csv
import io
import json
import os
import time
from datetime import UTC, date, datetime

import pytest

from condlube.operations.files import clear_parts, csv_text, json_text, own_part, write_whole


@pytest.mark.parametrize("hostile", ["=1+1", "+A1", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_formulas_are_neutralised(hostile):
    """The starts that spreadsheets run: OWASP, CSV Injection."""
    cell = list(csv.reader(io.StringIO(csv_text(["note"], [{"note": hostile}]), newline="")))[1][0]
    assert cell == "'" + hostile


def test_numbers_keep_their_sign_and_every_digit():
    text = csv_text(["a", "b", "c", "d"], [{"a": -0.1, "b": True, "c": None, "d": date(2026, 1, 2)}])
    assert text == "a,b,c,d\r\n-0.1,yes,,2026-01-02\r\n"


def test_json_has_iso_times():
    assert json.loads(json_text({"t": datetime(2026, 1, 2, 3, tzinfo=UTC)})) == {"t": "2026-01-02T03:00:00Z"}
    with pytest.raises(TypeError, match="set"):
        json_text({1, 2})


def test_a_file_is_replaced_whole(tmp_path):
    target = tmp_path / "deep" / "a.csv"
    write_whole(target, "one")
    write_whole(target, "two")
    assert target.read_text() == "two"
    assert [p.name for p in target.parent.iterdir()] == ["a.csv"]


def test_what_a_killed_writer_left_goes_after_a_day(tmp_path):
    left, at_work, whole = tmp_path / ".a.csv.17.part", own_part(tmp_path / "a.csv"), tmp_path / "a.csv"
    for path in (left, at_work, whole):
        path.write_text("half")
    long_ago = time.time() - 90_000.0
    os.utime(left, (long_ago, long_ago))
    os.utime(whole, (long_ago, long_ago))
    clear_parts(tmp_path)
    assert sorted(tmp_path.iterdir()) == sorted([at_work, whole])
