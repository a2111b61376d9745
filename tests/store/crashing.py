"""Two commits, an ingest and a night, that can be told to die at any point; run again, they carry on.

As a script: ``crashing.py STORE [POINT]`` kills itself at that point with a signal that nothing can catch.
"""

from __future__ import annotations

import os
import signal
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pyarrow as pa

from condlube.schema.arrow import rows_to_table
from condlube.store import delta, ledger
from condlube.store.layout import LAYOUT
from condlube.store.store import Store, Writer

NOW = datetime(2026, 3, 2, 6, 30, tzinfo=UTC)
NIGHT = date(2026, 3, 1)
ROWS = 60


def _readings(ingest_id):
    times = [datetime(2026, 2, 28, 12 * (k % 2), 0, 0, k, tzinfo=UTC) for k in range(ROWS)]
    rows = [{"point_id": f"P{k % 7}", "time": t, "value": k / 3, "ingest_id": ingest_id} for k, t in enumerate(times)]
    return rows_to_table("readings", rows)


def work(store):
    """Take in one file, once, and decide one night, once."""
    with store.writer() as writer:
        if not writer.ledger_rows("ingests", {"ingest_id": "one"}):
            writer.append("readings", _readings("one").slice(0, 20))
            writer.append("readings", _readings("one").slice(20))
            writer.append("rejects", rows_to_table("rejects", [{"ingest_id": "one", "line": 1, "known_at": NOW}]))
            writer.commit("ingest one", NOW, {"ingests": [{"ingest_id": "one", "lines": ROWS + 1}]})
        if not writer.ledger_rows("runs", {"run_id": "r"}):
            decided = [{"run_id": "r", "night": NIGHT, "bearing_id": f"B{k}", "call": "hold"} for k in range(50)]
            writer.append("summaries", rows_to_table("summaries", [{"point_id": "P0", "date": NIGHT, "cell": 0}]))
            writer.replace("decisions", rows_to_table("decisions", decided), "run_id")
            shown = [{**row, "ordinal": k} for row in decided for k in range(3)]
            writer.append("evidence", rows_to_table("evidence", [_without(row, "call") for row in shown]))
            writer.commit("night", NOW, {"runs": [{"run_id": "r", "night": NIGHT}]})


def _without(row, name):
    return {key: value for key, value in row.items() if key != name}


def content(store):
    """Every row of every table but what the clock wrote, as sorted text."""
    snapshot = store.snapshot()
    tables = {table: sorted(map(str, snapshot.read(table).to_pylist())) for table in LAYOUT}
    for table in ("ingests", "runs"):
        rows = snapshot.ledger_rows(table)
        tables[table] = sorted(str({k: v for k, v in row.items() if k != "commit_id"}) for row in rows)
    return tables


class Points:
    """Counts the points at which the work can die, and calls ``die`` at the one that is told."""

    def __init__(self, at, die):
        self.at, self.die, self.passed = at, die, 0

    def point(self):
        self.passed += 1
        if self.passed == self.at:
            self.die()

    def around(self, owner, name):
        plain = getattr(owner, name)

        def wrapped(*args, **kwargs):
            self.point()
            result = plain(*args, **kwargs)
            self.point()
            return result

        return owner, name, wrapped

    def places(self):
        """Before and after each step of the protocol, and between the ledger's statements."""
        owners = [
            (delta, ("create", "append", "replace", "write_deltalake", "force_to_disk")),
            (Writer, ("heal",)),
            (ledger.Ledger, ("create", "migrate", "commit")),
            (ledger, ("_insert", "_write")),
        ]
        return [self.around(owner, name) for owner, names in owners for name in names]


def main(folder, at=0):
    points = Points(at, lambda: os.kill(os.getpid(), signal.SIGKILL))
    for owner, name, wrapped in points.places():
        setattr(owner, name, wrapped)
    committed = Writer.commit

    def commit(*args, **kwargs):
        made = committed(*args, **kwargs)
        print("committed", flush=True)
        return made

    Writer.commit = commit
    print("begun", flush=True)
    work(Store.open(Path(folder)))
    print("ended", flush=True)


if __name__ == "__main__":
    pa.set_cpu_count(1)
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 0)
