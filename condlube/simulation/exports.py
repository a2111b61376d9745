"""Histories as the files of historians: tables of text in the long and the wide layout, and their CSV."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from condlube.simulation.timeline import FloatArray, Timeline
from condlube.units import linear

DECIMALS = {
    "ultrasound": 1, "acceleration": 3, "kurtosis": 2, "crest_factor": 2, "velocity": 2, "temperature": 1,
    "speed": 1, "current": 1, "power": 1, "load": 1, "ambient": 1,
}  # fmt: skip
"""Places after the point that instruments give, by quantity, in the unit of the export."""


@dataclass(frozen=True)
class Export:
    """One export file to be: its name, its table (all text; an empty cell is null) and how it is written."""

    name: str
    table: pa.Table
    delimiter: str = ","
    cut: int = 0

    def data(self) -> bytes:
        """The CSV, its last ``cut`` bytes missing (a copy that broke off)."""
        sink = pa.BufferOutputStream()
        pacsv.write_csv(
            self.table, sink, pacsv.WriteOptions(delimiter=self.delimiter, quoting_style="none", quoting_header="none")
        )
        data: bytes = sink.getvalue().to_pybytes()
        return data[: len(data) - self.cut]


def as_exported(values: FloatArray, point: Mapping[str, Any]) -> pa.Array:
    """Readings of one point in the unit of its export, rounded as instruments do, as text; null where NaN."""
    factor, offset = linear(point["quantity"], point["unit"])
    decimals = DECIMALS[point["quantity"]] + (2 if factor > 10 else 0)
    rounded = np.round((values - offset) / factor, decimals) + 0.0
    return pa.array(rounded, from_pandas=True).cast(pa.string())


def local_text(timeline: Timeline, pattern: str) -> npt.NDArray[np.str_]:
    """Local wall-clock text of every hour; the hour that occurs twice in autumn reads the same twice."""
    zone = timeline.zone
    return np.array([timeline.instant_at(h).astimezone(zone).strftime(pattern) for h in range(timeline.n)])


def utc_text(timeline: Timeline) -> npt.NDArray[np.str_]:
    """ISO 8601 text of every hour, UTC, with ``Z``."""
    return np.char.add(timeline.utc.astype(np.str_), "Z")


def long_table(times: npt.NDArray[np.str_], tags: Sequence[str], columns: Sequence[pa.Array]) -> pa.Table:
    """Rows ``timestamp, tag, value, quality``, hour by hour, for the hours that have a value."""
    hours, width = len(times), len(tags)
    by_hour = np.arange(hours * width).reshape(width, hours).T.ravel()
    value = pa.concat_arrays([column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
                              for column in columns]).take(by_hour)  # fmt: skip
    table = pa.table(
        {
            "timestamp": pa.array(times).take(np.repeat(np.arange(hours), width)),
            "tag": pa.array(tags).take(np.tile(np.arange(width), hours)),
            "value": value,
            "quality": pa.array(["Good"]).take(np.zeros(hours * width, dtype=np.int64)),
        }
    )
    return table.filter(pc.is_valid(table["value"]))


def wide_table(times: npt.NDArray[np.str_], tags: Sequence[str], columns: Sequence[pa.Array]) -> pa.Table:
    """One row an hour: ``Time`` and a column a tag, decimal comma."""
    cells = {tag: pc.replace_substring(column, ".", ",") for tag, column in zip(tags, columns, strict=True)}
    return pa.table({"Time": pa.array(times), **cells})


def months(timeline: Timeline) -> list[tuple[str, npt.NDArray[np.int64]]]:
    """The hours of every local calendar month, as (``YYYY-MM``, indices)."""
    labels = (np.datetime64(timeline.first, "D") + timeline.day).astype("datetime64[M]").astype(np.str_)
    return [(str(label), np.flatnonzero(labels == label)) for label in np.unique(labels)]
