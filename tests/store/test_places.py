"""Where a store may lie."""

from __future__ import annotations

import os
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from condlube.errors import Busy, StoreError
from condlube.store.copy import backup
from condlube.store.integrity import faults
from condlube.store.status import status
from condlube.store.store import Store
from condlube.store.upkeep import keep_up


def work(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings("a"))
        ingest = {"ingest_id": "a", "lines": 144, "stored": 144, "duplicate": 0, "rejected": 0}
        writer.commit("one", make.now, {"ingests": [ingest]})
    with store.writer() as writer:
        writer.append("readings", make.readings("lost"))
    with store.writer() as writer:
        writer.append("decisions", make.decisions())
        writer.commit("two", make.now, {"runs": [{"run_id": "r1"}]})
    keep_up(store, make.now)
    assert make.same(store.snapshot().read("readings"), make.readings("a"))
    assert faults(store) == []


@pytest.mark.parametrize("name", ["plain", "plant #1 100% ü? a=b&c;'\"", "dots.and..dots", "x" * 120])
def test_any_folder_name(tmp_path, make, name):
    store = Store.open(tmp_path / name)
    work(store, make)
    backup(store, Store.open(tmp_path / f"{name} backup"))
    assert faults(Store.open(tmp_path / f"{name} backup")) == []


def test_a_folder_relative_to_where_one_stands(tmp_path, make, monkeypatch):
    monkeypatch.chdir(tmp_path)
    work(Store.open(Path("store")), make)
    assert (tmp_path / "store" / "readings").is_dir()


def test_a_name_that_the_delta_library_would_misread_is_refused(tmp_path):
    with pytest.raises(StoreError, match="rename the folder"), Store.open(tmp_path / "a%20b").writer():
        pass


def test_object_storage_needs_postgresql():
    with pytest.raises(StoreError, match="need a ledger in PostgreSQL"):
        Store.open("s3://bucket/plant")


def test_tables_at_a_url(tmp_path, make):
    """The way to object storage, walked on a file URL: no file lock, no folder, all through the Delta library."""
    given = os.environ.get("CONDLUBE_TEST_POSTGRES")
    if not given:
        pytest.skip("PostgreSQL: CONDLUBE_TEST_POSTGRES is not set")
    schema, engine = f"condlube_{uuid4().hex}", sa.create_engine(given, poolclass=sa.pool.NullPool)
    with engine.begin() as connection:
        connection.execute(sa.schema.CreateSchema(schema))
    try:
        url = sa.make_url(given).update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(False)
        (tmp_path / "bucket").mkdir()
        store = Store.open((tmp_path / "bucket").as_uri(), url)
        work(store, make)
        with store.writer(), pytest.raises(Busy), Store.open(store.root, url).writer():
            pass
        told = status(store)
        assert (told.bytes_on_disk, told.tables[0].rows) == (None, 144)
        with pytest.raises(StoreError, match="own means"):
            backup(store, Store.open(tmp_path / "backup"))
        for path in (tmp_path / "bucket" / "readings").glob("month=*/*.parquet"):
            path.unlink()
        assert "readings" in faults(store)[0]
    finally:
        with engine.begin() as connection:
            connection.execute(sa.schema.DropSchema(schema, cascade=True))
