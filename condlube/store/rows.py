"""Arrow tables as row mappings without pandas, which pyarrow's own conversion of instants loads."""

from __future__ import annotations

from datetime import UTC
from typing import Any

import pyarrow as pa


def rows(table: pa.Table) -> list[dict[str, Any]]:
    """One dict a row; instants as datetimes in UTC, dates as dates, null as None."""
    columns = [_values(column) for column in table.columns]
    return [dict(zip(table.column_names, values, strict=True)) for values in zip(*columns, strict=True)]


def _values(column: pa.ChunkedArray) -> list[Any]:
    if pa.types.is_timestamp(column.type):
        naive = column.cast(pa.timestamp("us")).to_pylist()
        return [None if value is None else value.replace(tzinfo=UTC) for value in naive]
    values: list[Any] = column.to_pylist()
    return values
