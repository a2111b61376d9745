"""Reading a decision and its evidence loads none of the heavy libraries."""

from __future__ import annotations

import json
import subprocess
import sys

HEAVY = ["pandas", "pint", "sklearn", "statsmodels", "scipy", "numba", "pyarrow.dataset", "pyarrow.parquet"]
READ = """
import json, sys
from datetime import UTC, date, datetime
from pathlib import Path
from condlube.store.rows import rows
from condlube.store.store import Store
from condlube.store.views import run_of
snapshot = Store.open(Path(sys.argv[1])).snapshot()
run = run_of(snapshot)
picked = [("night", "=", run["night"]), ("bearing_id", "=", "B1"), ("run_id", "=", run["run_id"])]
found = [len(rows(snapshot.read(table, None, picked))) for table in ("decisions", "evidence")]
found.append(len(rows(snapshot.read("readings", None, [("time", ">", datetime(2026, 2, 28, tzinfo=UTC))]))))
snapshot.ledger_rows("events")
print(json.dumps([found, [name for name in sys.argv[2:] if name in sys.modules]]))
"""


def test_reading_loads_arrow_delta_and_sql_alone(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.append("decisions", make.decisions())
        writer.append("evidence", make.evidence())
        run = {"run_id": "r1", "night": make.decisions()["night"][0].as_py()}
        writer.commit("night", make.now, {"runs": [run], "events": [{"event_id": "e", "time": make.now}]})
    said = subprocess.check_output([sys.executable, "-W", "error", "-c", READ, str(store.folder), *HEAVY], text=True)
    assert json.loads(said) == [[1, 3, 94], []]
