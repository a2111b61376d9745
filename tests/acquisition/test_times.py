"""Times: whatever is accepted is what the standard library makes of the same text."""

# ruff: noqa: DTZ001 - local times have no zone
from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyarrow import csv

from condlube.acquisition.times import arrow_type, pattern_of, to_times
from condlube.errors import InvalidArgument

MOMENTS = st.datetimes(datetime(1900, 1, 2), datetime(2199, 12, 30))
EPOCH = datetime(1970, 1, 1)


def parsed(texts: list[str], time_format: str, decimal: str = "."):
    column = pa.chunked_array([pa.array([text.encode() for text in texts], pa.binary())])
    times = to_times(column, time_format, decimal, "utf-8")
    return [
        (EPOCH + timedelta(microseconds=int(us)), bool(zoned)) if readable else None
        for us, readable, zoned in zip(times.us, times.readable, times.zoned, strict=True)
    ]


@given(
    MOMENTS, st.sampled_from(["%d/%m/%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%Y-%m-%d %H:%M:%S.%f", "%d-%b-%Y %H:%M:%S"])
)
def test_patterns_read_what_strftime_writes(moment: datetime, pattern: str) -> None:
    if "%f" not in pattern:
        moment = moment.replace(microsecond=0)
    assert parsed([moment.strftime(pattern)], pattern) == [(moment, False)]


@given(MOMENTS, st.integers(-14 * 60, 14 * 60))
def test_iso_with_offset_is_utc(moment: datetime, minutes: int) -> None:
    sign, (hours, rest) = "-" if minutes < 0 else "+", divmod(abs(minutes), 60)
    text = f"{moment.isoformat()}{sign}{hours:02}:{rest:02}"
    assert parsed([text], "iso") == [(moment - timedelta(minutes=minutes), True)]


@given(MOMENTS, st.text("0123456789:-+TZ. ", max_size=4), st.integers(0, 25))
def test_the_typed_read_accepts_nothing_that_the_exact_one_refuses(moment: datetime, noise: str, at: int) -> None:
    """The two ways in which a block may be read, on texts that are nearly times."""
    text = moment.isoformat(sep=" ")
    text = (text[:at] + noise + text[at:]).strip()
    try:
        typed = csv.read_csv(
            pa.BufferReader(f"x,{text},y\n".encode()),
            csv.ReadOptions(column_names=["a", "t", "b"]),
            convert_options=csv.ConvertOptions(column_types={"t": arrow_type("iso", text.encode())}),
        )["t"]
    except pa.ArrowInvalid:
        return
    fast = to_times(typed, "iso", ".", "utf-8")
    slow = to_times(pa.chunked_array([pa.array([text.encode()])]), "iso", ".", "utf-8")
    assert (fast.readable == slow.readable).all()
    if fast.readable[0]:
        assert (fast.us[0], fast.zoned[0]) == (slow.us[0], slow.zoned[0])


def test_no_date_rolls_over() -> None:
    texts = ["31/04/2026 00:00", "29/02/2025 00:00", "00/01/2026 00:00", "01/13/2026 00:00", "01/01/2026 24:00",
             "01/01/2026 00:60", "29/02/2024 00:00"]  # fmt: skip
    assert parsed(texts, "%d/%m/%Y %H:%M") == [None] * 6 + [(datetime(2024, 2, 29), False)]


def test_seven_digits_of_a_second_are_cut_to_microseconds() -> None:
    assert parsed(["2026-03-01T00:00:00.1234567"], "iso") == [(datetime(2026, 3, 1, 0, 0, 0, 123456), False)]


def test_two_digit_years_follow_posix() -> None:
    assert parsed(["01-01-68", "01-01-69"], "%d-%m-%y") == [
        (datetime(2068, 1, 1), False),
        (datetime(1969, 1, 1), False),
    ]


def test_noon_and_midnight_of_the_twelve_hour_clock() -> None:
    texts = ["1/1/2026 12:00 AM", "1/1/2026 12:00 p.m.", "1/1/2026 0:30 AM"]
    assert parsed(texts, "%d/%m/%Y %I:%M %p") == [
        (datetime(2026, 1, 1), False),
        (datetime(2026, 1, 1, 12), False),
        None,
    ]


def test_offsets_in_patterns() -> None:
    assert parsed(["01/01/2026 12:00 +0230"], "%d/%m/%Y %H:%M %z") == [(datetime(2026, 1, 1, 9, 30), True)]


@given(MOMENTS)
def test_epochs_are_utc(moment: datetime) -> None:
    moment = moment.replace(microsecond=moment.microsecond // 1000 * 1000)
    seconds = (moment - EPOCH) / timedelta(seconds=1)
    assert parsed([repr(seconds), f"{seconds:.3f}"], "epoch_s") == [(moment, True)] * 2
    assert parsed([f"{seconds * 1000:.0f}"], "epoch_ms") == [(moment, True)]


def test_serial_numbers_count_days_from_1899_12_30() -> None:
    # 45658 is 2025-01-01: 25569 (1970-01-01 in common spreadsheets) + 20089 days of the datetime module.
    days = (datetime(2025, 1, 1) - EPOCH).days + 25_569
    assert parsed([f"{days}", f"{days},75"], "serial", ",") == [
        (datetime(2025, 1, 1), False),
        (datetime(2025, 1, 1, 18), False),
    ]


@pytest.mark.parametrize("text", ["", "nan", "inf", "1e300", "-1e300", "text"])
@pytest.mark.parametrize("time_format", ["epoch_s", "epoch_ms", "serial", "iso", "%d/%m/%Y"])
def test_what_is_no_time_is_not_readable(text: str, time_format: str) -> None:
    assert parsed([text], time_format) == [None]


@pytest.mark.parametrize(
    "pattern", ["", "%H:%M", "%d/%m", "%Y-%m-%d %Q", "%Y-%m-%d %I:%M", "%Y-%m-%d %d", "%Y-%m-%d %"]
)
def test_patterns_that_cannot_name_an_instant_are_refused(pattern: str) -> None:
    with pytest.raises(InvalidArgument, match="time_format"):
        pattern_of(pattern)


def test_a_typed_column_keeps_its_gaps() -> None:
    column = pa.chunked_array([pa.array([datetime(2026, 3, 1, tzinfo=UTC), None], pa.timestamp("ns", "UTC"))])
    times = to_times(column, "iso", ".", "utf-8")
    assert times.readable.tolist() == [True, False]
    assert times.us[0] == 1_772_323_200_000_000
    assert times.us.dtype == np.int64
