"""Arrow schemas of the tables, and tables made from rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.compute as pc

from condlube.schema.tables import TABLES

if TYPE_CHECKING:
    import pandas as pd

_TYPES = {
    "str": pa.string(),
    "int": pa.int64(),
    "float": pa.float64(),
    "bool": pa.bool_(),
    "date": pa.date32(),
    "time": pa.timestamp("us", tz="UTC"),
    "floats": pa.list_(pa.float64()),
}


@cache
def arrow_schema(table: str) -> pa.Schema:
    """Arrow schema of a table, columns in their declared order."""
    return pa.schema([pa.field(c.name, _TYPES[c.type]) for c in TABLES[table]])


def rows_to_table(table: str, rows: Iterable[Mapping[str, Any]]) -> pa.Table:
    """Table from row mappings; missing keys become null, unknown keys raise ``KeyError``."""
    schema = arrow_schema(table)
    rows = list(rows)
    if unknown := {key for row in rows for key in row} - set(schema.names):
        raise KeyError(f"{table} has no columns {sorted(unknown)}")
    return pa.Table.from_pylist([dict(row) for row in rows], schema=schema)


def conform(table: str, data: pa.Table, encoded: bool = False) -> pa.Table:
    """The same data with exactly the columns, order and types of ``table``; missing columns become null.

    With ``encoded`` a dictionary of values of the right type stays one.
    """
    schema = arrow_schema(table)
    if unknown := set(data.column_names) - set(schema.names):
        raise KeyError(f"{table} has no columns {sorted(unknown)}")
    columns = {}
    for field in schema:
        column = data[field.name] if field.name in data.column_names else pa.nulls(data.num_rows, field.type)
        keep = encoded and pa.types.is_dictionary(column.type) and column.type.value_type == field.type
        columns[field.name] = column if keep else column.cast(field.type)
    return pa.table(columns)


def from_frame(table: str, frame: pd.DataFrame) -> pa.Table:
    """The frame with exactly the columns, order and types of ``table``; what is missing or NaN becomes null."""
    if unknown := set(frame.columns) - set(arrow_schema(table).names):
        raise KeyError(f"{table} has no columns {sorted(unknown)}")
    made = {name: pa.array(column, from_pandas=True) for name, column in frame.items()}
    found = {name: values for name, values in made.items() if values.null_count < len(values)}
    return pa.table(
        [found[f.name].cast(f.type) if f.name in found else pa.nulls(len(frame), f.type) for f in arrow_schema(table)],
        schema=arrow_schema(table),
    )


def coded(words: pa.ChunkedArray) -> pa.DictionaryArray:
    """Words that repeat as numbers among the different ones, which stand in their order."""
    met = words.dictionary_encode().combine_chunks()
    order = pc.array_sort_indices(met.dictionary)
    place = pc.array_sort_indices(order).cast(pa.int32())
    return pa.DictionaryArray.from_arrays(place.take(met.indices), met.dictionary.take(order))


def to_frame(table: pa.Table) -> pd.DataFrame:
    """The table as a frame with dates as instants and lists as they lie: no object is made of either."""
    import pandas as pd

    lists = {_TYPES["floats"]: pd.ArrowDtype(_TYPES["floats"])}
    return table.to_pandas(date_as_object=False, types_mapper=lists.get)
