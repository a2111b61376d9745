"""How each Delta table lies on disk."""

from __future__ import annotations

from dataclasses import dataclass

from condlube.schema.tables import TABLES


@dataclass(frozen=True)
class Layout:
    """``month_of`` is the column that gives the month partition; rows of a file are sorted by ``order``.

    ``picked`` tables are those of which people look up one bearing or point: short row groups and pages, quick to
    unpack. The others are read by the night and written to be small.
    """

    month_of: str
    order: tuple[str, ...]
    picked: bool = True
    by_date: bool = False

    @property
    def cut(self) -> str:
        """The column by which the files of a closed month are told apart."""
        return self.month_of if self.by_date else self.order[0]


LAYOUT = {
    "readings": Layout("time", ("point_id", "time"), picked=False),
    "rejects": Layout("known_at", ("ingest_id", "line"), picked=False),
    "summaries": Layout("date", ("point_id", "date", "cell")),
    "expected": Layout("known_at", ("point_id", "reference_from")),
    "decisions": Layout("night", ("bearing_id", "night"), by_date=True),
    "evidence": Layout("night", ("bearing_id", "night", "ordinal")),
}
# Columns that readers do not see: the partition, and the order of appends, by which later rows win over earlier ones.
MONTH = "month"
SEQUENCE = "sequence"

if set(LAYOUT) != {name for name, table in TABLES.items() if table.home == "delta"}:
    raise ValueError("every Delta table of the schema needs a layout, and nothing else does")
