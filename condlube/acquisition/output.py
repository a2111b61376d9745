"""READING arrays -> the readings table of the schema, and back."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.acquisition.normalise import READING, instant_of
from condlube.schema.words import QUALITIES

_TIME = pa.timestamp("us", tz="UTC")


def to_table(
    readings: np.ndarray, point_ids: pa.Array, ingest_ids: pa.DictionaryArray, now: datetime, delay: timedelta | None
) -> pa.Table:
    """Rows of the readings table. Known at time + ``delay`` where the source is history, else at ``now``."""
    count = len(readings)
    time = np.ascontiguousarray(readings["time"])
    if delay is None:
        known_at = pa.repeat(pa.scalar(now, _TIME), count)
    else:
        known_at = pa.array(time + delay // timedelta(microseconds=1)).cast(_TIME)
    return pa.table(
        {
            "point_id": pa.DictionaryArray.from_arrays(np.ascontiguousarray(readings["point"]), point_ids),
            "time": pa.array(time).cast(_TIME),
            "value": np.ascontiguousarray(readings["value"]),
            "quality": pa.DictionaryArray.from_arrays(np.ascontiguousarray(readings["quality"]), pa.array(QUALITIES)),
            "known_at": known_at,
            "ingest_id": ingest_ids,
        }
    )


def from_table(stored: pa.Table, point_ids: pa.Array) -> np.ndarray:
    """READING array of stored rows (point_id, time, value, quality); rows of other points are left out."""
    point = pc.index_in(stored["point_id"], value_set=point_ids).fill_null(-1).to_numpy()
    readings = np.zeros(len(point), READING)
    readings["point"] = point
    readings["time"] = stored["time"].cast(pa.int64()).to_numpy()
    readings["value"] = stored["value"].to_numpy()
    readings["quality"] = pc.index_in(stored["quality"], value_set=pa.array(QUALITIES)).to_numpy()
    known: np.ndarray = readings[point >= 0]
    return known


def day_spans(readings: np.ndarray) -> list[tuple[datetime, datetime]]:
    """The stretches of whole UTC days that the readings fall on, gaps of over a day left out."""
    if len(readings) == 0:
        return []
    days = readings["time"] // 86_400_000_000
    days = np.flatnonzero(np.bincount(days - days.min())) + days.min()
    pieces = np.split(days, np.flatnonzero(np.diff(days) > 1) + 1)
    ends = [(int(piece[0]), int(piece[-1]) + 1) for piece in pieces]
    return [(instant_of(first * 86_400_000_000), instant_of(last * 86_400_000_000)) for first, last in ends]


def instants(readings: np.ndarray) -> tuple[datetime | None, datetime | None]:
    """Earliest and latest time."""
    if len(readings) == 0:
        return None, None
    return instant_of(int(readings["time"].min())), instant_of(int(readings["time"].max()))
