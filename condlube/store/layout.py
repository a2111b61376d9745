"""How each Delta table lies on disk."""

from __future__ import annotations

from dataclasses import dataclass

from condlube.schema.tables import TABLES


@dataclass(frozen=True)
class Layout:
    """``month_of`` is the column that gives the month partition; rows of a file are sorted by ``order``.

    Row groups are small where one bearing's or point's rows are picked out, large where whole nights are read.
    """

    month_of: str
    order: tuple[str, ...]
    row_group: int = 16_384


LAYOUT = {
    "readings": Layout("time", ("point_id", "time"), 131_072),
    "rejects": Layout("known_at", ("ingest_id", "line"), 131_072),
    "summaries": Layout("date", ("point_id", "date", "cell")),
    "expected": Layout("known_at", ("point_id", "reference_from")),
    "decisions": Layout("night", ("bearing_id", "night")),
    "evidence": Layout("night", ("bearing_id", "night", "ordinal")),
}
# Columns that readers do not see: the partition, and the order of appends, by which later rows win over earlier ones.
MONTH = "month"
SEQUENCE = "sequence"

if set(LAYOUT) != {name for name, table in TABLES.items() if table.home == "delta"}:
    raise ValueError("every Delta table of the schema needs a layout, and nothing else does")
