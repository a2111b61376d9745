"""Numbers: what is accepted equals Python's own reading; nothing is guessed."""

from __future__ import annotations

import math

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from condlube.acquisition.numbers import to_float


def read(text: str, decimal: str = ".", thousands: str = "") -> float:
    return float(to_float(pa.array([text.encode()], pa.binary()), decimal, thousands, "utf-8")[0])


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_is_read_as_python_reads_it(value: float) -> None:
    assert read(repr(value)) == value
    assert read(repr(value).replace(".", ","), ",") == value


@given(st.floats(-1e12, 1e12), st.sampled_from([(",", "."), (".", ","), (",", " "), (".", "'")]))
def test_thousands_marks(value: float, marks: tuple[str, str]) -> None:
    decimal, thousands = marks
    text = f"{value:,.3f}".replace(",", "T").replace(".", decimal).replace("T", thousands)
    assert read(text, decimal, thousands) == float(f"{value:.3f}")


@given(st.text(max_size=12))
def test_text_is_a_number_only_if_python_says_so(text: str) -> None:
    value = read(text) if "\0" not in text and text.encode("utf-8", "replace").decode() == text else math.nan
    if not math.isnan(value):
        assert value == float(text)


@pytest.mark.parametrize(
    "text", ["", " ", "nan", "inf", "-inf", "1e999", "0x10", "1_000", "1,000", "1.5.", "--1", "1 000", "٣"]
)
def test_what_is_no_plain_number_is_none(text: str) -> None:
    assert math.isnan(read(text))


@pytest.mark.parametrize("text", ["1.00", "12.34.567", "1234.567", ".123", "1.2345"])
def test_marks_that_do_not_part_groups_of_three_spoil_the_number(text: str) -> None:
    assert math.isnan(read(text, ",", "."))


def test_typed_columns_pass_through_with_gaps_as_nan() -> None:
    column = pa.chunked_array([pa.array([1.5, None, np.inf])])
    assert to_float(column, ".", "", "utf-8").tolist()[:1] == [1.5]
    assert np.isnan(to_float(column, ".", "", "utf-8")).tolist() == [False, True, True]
