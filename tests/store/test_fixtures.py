"""Stores written by older schema versions open, read as they were written, and are written on."""

from __future__ import annotations

import json
import runpy
import shutil
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from condlube.schema.arrow import rows_to_table
from condlube.store.integrity import faults
from condlube.store.layout import LAYOUT
from condlube.store.migrate import SCHEMA_VERSION
from condlube.store.store import Store
from condlube.store.upkeep import keep_up

FIXTURES = Path(__file__).with_name("fixtures")
writing = SimpleNamespace(**runpy.run_path(str(FIXTURES / "write.py")))
NOW = datetime(2026, 4, 1, tzinfo=UTC)


def test_there_is_a_store_of_every_schema_version():
    assert {path.name for path in FIXTURES.iterdir() if path.is_dir()} >= {f"v{k + 1}" for k in range(SCHEMA_VERSION)}


@pytest.fixture(params=sorted(path.name for path in FIXTURES.glob("v*.json")))
def old(request, tmp_path):
    """A copy of the store, and its content as it was written."""
    content = json.loads((FIXTURES / request.param).read_text(encoding="utf-8"))
    folder = FIXTURES / request.param.removesuffix(".json")
    return Store.open(shutil.copytree(folder, tmp_path / "store")), content


def as_written(store, content):
    """What the store holds now of the columns that were written then; columns that came later must be null."""
    held = {}
    for table, rows in writing.content(store).items():
        columns = set(content[table][0]) if table in content else set()
        assert all(value is None for row in rows for name, value in row.items() if name not in columns), table
        held[table] = [{name: row[name] for name in row if name in columns} for row in rows]
    return {table: held[table] for table in content}


def test_readers_read_it_untouched(old):
    store, content = old
    before = {
        path: path.stat().st_mtime_ns for path in store.folder.rglob("*.*") if path.suffix in (".parquet", ".json")
    }
    assert as_written(store, content) == content
    assert {path: path.stat().st_mtime_ns for path in before} == before


def test_a_writer_brings_it_up_to_date_and_writes_on(old):
    store, content = old
    with store.writer() as writer:
        for table in LAYOUT:
            writer.append(table, rows_to_table(table, [writing.sample(table, 8)]))
        writer.commit("later", NOW, {"events": [writing.sample("events", 8)]})
    snapshot = store.snapshot()
    for table in LAYOUT:
        assert snapshot.read(table).num_rows == len(content[table]) + 1
        assert writing.sample(table, 8).items() <= newest(snapshot, table).items()
    assert len(store.ledger_rows("events")) == len(content["events"]) + 1
    assert store.snapshot(3).read("readings").num_rows == len(content["readings"])
    assert keep_up(store, NOW).removed == 0


def newest(snapshot, table):
    key = {name: value for name, value in writing.sample(table, 8).items() if isinstance(value, str) and "-8" in value}
    (row,) = snapshot.read(table, None, [(name, "=", value) for name, value in key.items()]).to_pylist()
    return row


def test_the_integrity_check_still_runs_on_it(old):
    store, _ = old
    assert not [line for line in faults(store) if "cannot be read" in line or "missing" in line]
