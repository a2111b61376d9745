"""Lists of Python values to Arrow arrays without pandas, which ``pyarrow.array`` would import."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_MICROSECOND = timedelta(microseconds=1)


def arrow_array(values: Sequence[Any], kind: pa.DataType) -> pa.Array:
    """Array of text, numbers, booleans, dates or UTC instants; None becomes null."""
    valid = _bits([value is not None for value in values])
    if pa.types.is_string(kind):
        texts = [b"" if value is None else value.encode() for value in values]
        ends = np.cumsum([0, *map(len, texts)], dtype=np.int64)
        if ends[-1] > np.iinfo(np.int32).max:
            raise OverflowError("a text column holds more than 2 GiB")
        return pa.Array.from_buffers(
            kind, len(texts), [valid, pa.py_buffer(ends.astype(np.int32)), pa.py_buffer(b"".join(texts))]
        )
    if pa.types.is_boolean(kind):
        return pa.Array.from_buffers(kind, len(values), [valid, _bits([bool(value) for value in values])])
    return pa.Array.from_buffers(kind, len(values), [valid, pa.py_buffer(_numbers(values, kind))])


def _numbers(values: Sequence[Any], kind: pa.DataType) -> np.ndarray:
    if pa.types.is_floating(kind):
        return np.array([0.0 if value is None else value for value in values], np.float64)
    if pa.types.is_date32(kind):
        return np.array([0 if value is None else value.toordinal() - _EPOCH_DAY for value in values], np.int32)
    if pa.types.is_timestamp(kind):
        return np.array([0 if value is None else (value - _EPOCH) // _MICROSECOND for value in values], np.int64)
    raise TypeError(f"no array of {kind}")


def _bits(flags: Sequence[bool]) -> pa.Buffer:
    return pa.py_buffer(np.packbits(np.array(flags, bool), bitorder="little"))
