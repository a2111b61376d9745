from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from condlube.register.cells import Wrong, decimal_mark, reader
from condlube.schema.columns import COLUMNS

LISBON = ZoneInfo("Europe/Lisbon")


def read(column: str, text: str, mark: str = ".") -> object:
    return reader(COLUMNS[column], mark, LISBON)(text)


@pytest.mark.parametrize(
    ("texts", "usual", "mark"),
    [
        (["1480", "990"], ".", "."),  # no fraction anywhere: what is usual
        (["1480", "990"], "", ""),
        (["1,5", "1.500"], ".", ","),  # 1.500 tells nothing, 1,5 tells
        (["0.125"], "", "."),  # a leading zero is no thousands group
        (["12.345.6", "1,5"], "", ","),  # what is no number does not count
        (["1,5", "2.5"], ".", ""),  # a file that disagrees with itself
    ],
)
def test_decimal_mark(texts: list[str], usual: str, mark: str) -> None:
    assert decimal_mark(texts, usual) == mark


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("1480", "", 1480.0),
        (" 1480,5\u00a0", "", 1480.5),
        ("1.480", ".", 1.48),
        ("1,480", ",", 1.48),
        ("1.5e3", ".", 1500.0),
        (",5", ",", 0.5),
        ("", ".", None),
        ("   ", ".", None),
    ],
)
def test_numbers(text: str, mark: str, value: float | None) -> None:
    assert read("speed_rpm", text, mark) == value


@pytest.mark.parametrize(
    "text",
    ["1.480", "1,480", "1_480", "1 480", "1480 rpm", "nan", "inf", "1e400", "٣", "0x10", "-5", "0", "--1", "#N/A"],
)
def test_what_is_no_speed(text: str) -> None:
    assert isinstance(read("speed_rpm", text, ""), Wrong)


def test_an_ambiguous_number_is_met_with_both_readings() -> None:
    answer = read("speed_rpm", "1.480", ",")
    assert isinstance(answer, Wrong)
    assert "1480 or 1.4800" in answer.expected


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("deep_groove_ball", "deep_groove_ball"),
        (" Deep groove-ball ", "deep_groove_ball"),
        ("", None),
    ],
)
def test_words(text: str, word: str | None) -> None:
    assert read("bearing_type", text) == word


def test_words_keep_the_case_of_their_list() -> None:
    assert read("manual_interval_basis", "l10") == "L10"


def test_a_near_miss_is_met_with_the_list_and_the_nearest() -> None:
    assert read("seal", "seald") == Wrong("one of open, shielded, sealed; nearest is sealed")


@pytest.mark.parametrize(("text", "value"), [("YES", True), ("1", True), ("n", False), ("0", False), ("", None)])
def test_booleans(text: str, value: bool | None) -> None:
    assert read("outdoors", text) is value


@pytest.mark.parametrize("text", ["2", "on", "x", "nope"])
def test_what_is_no_boolean(text: str) -> None:
    assert isinstance(read("outdoors", text), Wrong)


@pytest.mark.parametrize("text", ["2024-06-01", "2024-06-01 00:00:00", "2024-06-01T00:00"])
def test_dates(text: str) -> None:
    assert read("mounted", text) == date(2024, 6, 1)


@pytest.mark.parametrize("text", ["01/06/2024", "2024-6-1", "2024-02-30", "20240601", "1899-12-31", "45444"])
def test_what_is_no_date(text: str) -> None:
    assert isinstance(read("mounted", text), Wrong)


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2024-06-01 13:30", datetime(2024, 6, 1, 12, 30, tzinfo=UTC)),  # summer: UTC+1
        ("2024-12-01T13:30:15", datetime(2024, 12, 1, 13, 30, 15, tzinfo=UTC)),  # winter: UTC
        ("2024-06-01 13:30+02:00", datetime(2024, 6, 1, 11, 30, tzinfo=UTC)),
        ("2024-06-01T13:30Z", datetime(2024, 6, 1, 13, 30, tzinfo=UTC)),
        ("2024-06-01", datetime(2024, 6, 1, 11, 0, tzinfo=UTC)),  # local noon
        ("2024-10-27 01:30", datetime(2024, 10, 27, 0, 30, tzinfo=UTC)),  # twice that night: the first
    ],
)
def test_times(text: str, instant: datetime) -> None:
    assert read("time", text) == instant


@pytest.mark.parametrize(
    "text", ["2024-03-31 01:30", "yesterday", "13:30", "2024-W22-6", "20240601T1330", "1700-01-01"]
)
def test_what_is_no_time(text: str) -> None:
    assert isinstance(read("time", text), Wrong)


def test_an_id_stands_on_one_line() -> None:
    assert isinstance(read("bearing_id", "P1\nDE"), Wrong)
    assert read("note", "first\nsecond") == "first\nsecond"
