"""Numbers as exports write them -> float64; what is no number is NaN, never a guess."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.text import strings

_NUMBER = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?$"


def to_float(column: pa.ChunkedArray | pa.Array, decimal: str, thousands: str, encoding: str) -> np.ndarray:
    """float64 of a column that was read as float64 or as binary; NaN where there is no finite number."""
    if pa.types.is_floating(column.type):
        value = (column.fill_null(np.nan) if column.null_count else column).to_numpy(zero_copy_only=False)
        return np.where(np.isinf(value), np.nan, value) if np.isinf(value).any() else value
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    text = pc.utf8_trim_whitespace(strings(column, encoding))
    if thousands:
        text = _without_thousands(text, decimal, thousands)
    if decimal != ".":
        text = pc.replace_substring(pc.replace_substring(text, ".", "x"), decimal, ".")
    number = pc.if_else(pc.match_substring_regex(text, _NUMBER), text, None).cast(pa.float64())
    return to_float(number, decimal, thousands, encoding)


def _without_thousands(text: pa.Array, decimal: str, thousands: str) -> pa.Array:
    """Thousands marks are taken out where they part groups of three; elsewhere they stay and spoil the number."""
    mark = f"[{re.escape(thousands)}\u00a0\u202f]" if thousands == " " else re.escape(thousands)
    grouped = pc.match_substring_regex(text, rf"^[+-]?\d{{1,3}}(?:{mark}\d{{3}})+(?:{re.escape(decimal)}\d*)?$")
    return pc.if_else(grouped, pc.replace_substring_regex(text, mark, ""), text)
