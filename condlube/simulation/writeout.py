"""The export files of a simulated plant, dirt and all: gateways in the long layout, historian in the wide, route."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from zlib import crc32

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from condlube.simulation import dirt
from condlube.simulation.exports import Export, as_exported, local_text, long_table, months, utc_text, wide_table
from condlube.simulation.plant import Plant
from condlube.simulation.scenario import History
from condlube.simulation.timeline import IntArray, Timeline

PROCESS = ("temperature", "ambient", "speed", "current", "power", "load")
OPC_SINCE = "2026-03"
COPIED = "2026-02"
CUT = "2026-06"
SHARE_BAD = 0.0004
OVERLAP_H = 6


def export_files(plant: Plant, history: History, rng: np.random.Generator) -> Iterator[Export]:
    """Every export of the history, file by file, in order of name within each source."""
    points = plant.register.points.to_pylist()
    continuous = [p for p in points if p["sampling"] == "continuous"]
    yield from condition_files(history, [p for p in continuous if p["quantity"] not in PROCESS], rng)
    yield from process_files(history, [p for p in continuous if p["quantity"] in PROCESS], rng)
    yield from route_files(history, [p for p in points if p["sampling"] == "route"], plant.settings["route"])


def condition_files(history: History, points: list[Mapping[str, Any]], rng: np.random.Generator) -> Iterator[Export]:
    """Long files of the gateways, one a month in UTC: words of quality, late and repeated lines, an unknown tag."""
    times = utc_text(history.timeline)
    tags = [point["tag"] for point in points]
    columns = [as_exported(history.readings[point["point_id"]], point) for point in points]
    tables = [
        (month, long_table(times[hours], tags, [column.take(pa.array(hours)) for column in columns]))
        for month, hours in months(history.timeline)
    ]
    width = len(tags)
    for k, (month, table) in enumerate(tables):
        if k + 1 < len(tables):
            following = tables[k + 1][1]
            if k % 3 == 1:
                table, following = dirt.late(rng, table, following, 200)
                tables[k + 1] = (tables[k + 1][0], following)
            else:
                table = dirt.overlapping(table, following, OVERLAP_H * width)
        table = dirt.bad_quality(rng, table, SHARE_BAD)
        table = dirt.text_in_cells(rng, table, ["value"], SHARE_BAD / 4)
        table = dirt.unknown_tag(rng, dirt.out_of_order(rng, table, 4, 2 * width), "UG-2.HEARTBEAT", 24)
        if k % 4 == 2:
            table = dirt.unknown_tag(rng, table, "SPARE.7.US", 12)
        table = dirt.duplicated(rng, table, 60)
        if month >= OPC_SINCE:
            table = dirt.numbers_for_words(table)
        export = Export(f"condition_{month}.csv", table, cut=31 if month == CUT else 0)
        yield export
        if month == COPIED:
            yield Export(f"condition_{month}_copy.csv", table)


def process_files(history: History, points: list[Mapping[str, Any]], rng: np.random.Generator) -> Iterator[Export]:
    """Wide files of the historian, one a month in local time with decimal comma: words in cells, gaps, overlap."""
    times = local_text(history.timeline, "%d.%m.%Y %H:%M")
    tags = [point["tag"] for point in points]
    columns = [as_exported(history.readings[point["point_id"]], point) for point in points]
    for month, hours in months(history.timeline):
        reach = np.arange(hours[0], min(hours[-1] + 1 + OVERLAP_H, history.timeline.n))
        table = wide_table(times[reach], tags, [column.take(pa.array(reach)) for column in columns])
        table = dirt.text_in_cells(rng, table, tags, SHARE_BAD)
        table = dirt.gaps(rng, table, tags, 0.3)
        if crc32(month.encode()) % 3 == 0:
            table = table.append_column("LI-9104.PV", pc.if_else(pc.is_valid(table["Time"]), "47,1", None))
        yield Export(f"process_{month}.csv", table, delimiter=";")


def route_files(history: History, points: list[Mapping[str, Any]], route: Mapping[str, Any]) -> Iterator[Export]:
    """One file a month from the portable instrument, read bearing by bearing on the round."""
    times = local_text(history.timeline, "%Y-%m-%d %H:%M")
    for month, hours in months(history.timeline):
        rounds = _round(history.timeline, hours, route)
        if len(rounds) == 0:
            continue
        at = int(rounds[0])
        minutes = 3 * np.arange(len(points))
        hour = np.minimum(at + minutes // 60, history.timeline.n - 1)
        stamp = [f"{times[h][:-2]}{m % 60:02d}" for h, m in zip(hour, minutes, strict=True)]
        value = [as_exported(history.readings[p["point_id"]][[h]], p)[0].as_py()
                 for p, h in zip(points, hour, strict=True)]  # fmt: skip
        table = pa.table({"Date": stamp, "Point": [p["tag"] for p in points], "Reading": value})
        yield Export(f"route_{month}.csv", table, delimiter=";")


def _round(timeline: Timeline, hours: IntArray, route: Mapping[str, Any]) -> npt.NDArray[np.int64]:
    """The hour of the month's round, as an array of one (or none at the edges of the history)."""
    day_of_month = timeline.day[hours] - timeline.day[hours[0]] + 1
    week = (day_of_month - 1) // 7 + 1
    chosen = (
        (timeline.weekday[hours] == route["weekday"])
        & (week == route["week_of_month"])
        & (timeline.hour_of_day[hours] == route["hour"])
    )
    return np.asarray(hours[chosen][:1])
