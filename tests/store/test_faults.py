"""What breaks a store, and what the user is told. Each message names the thing and the way out; the rest stays."""

from __future__ import annotations

import errno
import os
import shutil
import stat
from contextlib import contextmanager

import numpy as np
import pyarrow as pa
import pytest
from sqlalchemy.exc import OperationalError

from condlube.errors import StoreError
from condlube.store import delta
from condlube.store.faults import reported
from condlube.store.store import Store


@pytest.fixture
def filled(store, make):
    with store.writer() as writer:
        writer.append("readings", make.readings())
        writer.append("decisions", make.decisions())
        writer.commit("one", make.now, {"ingests": [{"ingest_id": "a"}]})
    return store


def data_files(store, table="readings"):
    return sorted((store.folder / table).glob("month=*/*.parquet"))


# The texts below are what the libraries said on a full tmpfs, a folder without permission and a stopped server.
@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "the disk is full. Free some space"),
        (OSError("Failed to parse parquet: External: Generic LocalFileSystem error: Unable to copy data to file: No "
                 "space left on device (os error 28)"), "the disk is full. Free some space"),
        (OperationalError("INSERT", {}, Exception("database or disk is full")), "the disk is full"),
        (OperationalError("INSERT", {}, Exception("disk I/O error")), "the disk is full or failing"),
        (OperationalError("INSERT", {}, Exception("attempt to write a readonly database")), "the right to write its"),
        (PermissionError(errno.EACCES, "Permission denied", "/plant/store"), "the right to read and write"),
        (OSError(errno.EROFS, "Read-only file system"), "the right to read and write"),
        (OperationalError("BEGIN IMMEDIATE", {}, Exception("database is locked")), "kept the ledger locked"),
        (OperationalError("SELECT", {}, Exception("canceling statement due to lock timeout")), "kept the ledger"),
        (OperationalError("SELECT", {}, Exception("database disk image is malformed")), "the ledger is damaged"),
        (OperationalError("SELECT", {}, Exception('connection to server at "127.0.0.1", port 1 failed: Connection '
                                                  "refused")), "cannot be reached"),
        (OperationalError("SELECT", {}, Exception("the connection is lost")), "cannot be reached"),
        (OperationalError("SELECT", {}, Exception('FATAL: password authentication failed for user "x"')), "refuses"),
        (OSError("something else"), "doing: something else"),
    ],
)  # fmt: skip
def test_what_libraries_say_is_told_in_the_users_words(error, told):
    with pytest.raises(StoreError, match=told) as raised, reported("doing"):
        raise error
    assert raised.value.__cause__ is error
    assert "INSERT" not in str(raised.value)


def test_errors_of_the_program_are_not_dressed_up():
    with pytest.raises(ZeroDivisionError), reported("doing"):
        raise ZeroDivisionError


def test_a_truncated_data_file_is_named_and_the_other_tables_still_read(filled):
    (path, *_) = data_files(filled)
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(StoreError, match=r"table readings at version 1: a data file is damaged.*part-00"):
        filled.snapshot().read("readings")
    assert filled.snapshot().read("decisions").num_rows == 2


def test_a_missing_data_file_is_named(filled):
    data_files(filled)[0].unlink()
    with pytest.raises(StoreError, match="missing"):
        filled.snapshot().read("readings")


def test_an_empty_and_a_scrambled_data_file(filled):
    for content in (b"", b"PAR1" + b"x" * 500 + b"PAR1"):
        data_files(filled)[0].write_bytes(content)
        with pytest.raises(StoreError, match="damaged"):
            filled.snapshot().read("readings")


def test_a_ledger_that_is_no_database(filled):
    for rest in ("ledger.sqlite-wal", "ledger.sqlite-shm"):
        (filled.folder / rest).unlink(missing_ok=True)
    (filled.folder / "ledger.sqlite").write_bytes(b"not a database at all" * 100)
    for act in (filled.snapshot, lambda: filled.writer().__enter__()):
        with pytest.raises(StoreError, match=r"the ledger is damaged.*condlube store restore"):
            act()


def test_a_ledger_damaged_inside(filled):
    path = filled.folder / "ledger.sqlite"
    content = bytearray(path.read_bytes())
    content[4096:] = os.urandom(len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises(StoreError, match="the ledger is damaged"):
        filled.snapshot()


def test_a_lost_ledger_is_not_replaced_by_an_empty_one(filled):
    (filled.folder / "ledger.sqlite").unlink()
    with pytest.raises(StoreError, match="there is data, but no ledger"), filled.writer():
        pass


def test_a_lost_table_is_named(filled):
    shutil.rmtree(filled.folder / "decisions")
    with pytest.raises(StoreError, match="decisions"):
        filled.snapshot().read("decisions")
    with pytest.raises(StoreError, match=r"decisions: the ledger of store .* names this table"), filled.writer():
        pass


def test_a_folder_older_than_its_ledger_is_refused(filled, make, tmp_path):
    shutil.copytree(filled.folder / "readings", tmp_path / "older")
    with filled.writer() as writer:
        writer.append("readings", make.readings("b"))
        writer.commit("two", make.now)
    shutil.rmtree(filled.folder / "readings")
    shutil.copytree(tmp_path / "older", filled.folder / "readings")
    with pytest.raises(StoreError, match="table readings is at version 1, but the ledger says 2"), filled.writer():
        pass


def test_the_ledger_of_another_store_puts_nothing_back(filled, make, tmp_path):
    other = Store.open(tmp_path / "other")
    with other.writer():
        pass
    mixed = Store.open(filled.folder, f"sqlite:///{other.folder / 'ledger.sqlite'}")
    with pytest.raises(StoreError, match="correct the ledger's URL"), mixed.writer():
        pass
    assert filled.snapshot().read("readings").num_rows == 144
    assert delta.open_table(str(filled.folder / "readings"), "readings").version() == 1


def test_a_log_entry_cut_off_is_reported(filled):
    entry = filled.folder / "readings" / "_delta_log" / f"{1:020}.json"
    entry.write_bytes(entry.read_bytes()[:40])
    with pytest.raises(StoreError, match="table readings"):
        filled.snapshot().read("readings")


@pytest.fixture
def _unprivileged(filled):
    """Act as a user who may not write: root may write everywhere, so it becomes nobody for a while."""
    if not hasattr(os, "geteuid"):
        pytest.skip("permissions: not on this system")
    root = os.geteuid() == 0
    paths = [filled.folder, *filled.folder.rglob("*")]
    for parent in filled.folder.parents:
        if root and parent.stat().st_uid == 0 and len(parent.parts) > 2:
            parent.chmod(parent.stat().st_mode | stat.S_IXOTH | stat.S_IXGRP)
    for path in paths:
        path.chmod(0o555 if path.is_dir() else 0o444)
    if root:
        os.seteuid(65534)
    yield
    if root:
        os.seteuid(0)
    for path in paths:
        path.chmod(0o755 if path.is_dir() else 0o644)


@pytest.mark.usefixtures("_unprivileged")
def test_without_permission_to_write_the_store_still_reads(filled, make):
    assert filled.snapshot().read("readings").num_rows == 144
    for act in (lambda: filled.writer().__enter__(), lambda: filled.record("x", make.now, {})):
        with pytest.raises(StoreError, match="the right to"):
            act()


@contextmanager
def _no_room_for_files_over(size):
    """Stands for a full disk: writing beyond ``size`` bytes of any file fails in the operating system."""
    resource = pytest.importorskip("resource")
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


def test_a_disk_that_fills_up_while_a_file_is_written_costs_nothing_that_was_committed(filled, make):
    before = filled.snapshot().commit_id
    more = make.readings("later", points=[f"P{k}" for k in range(400)], hours=48)
    more = more.set_column(2, "value", pa.array(np.random.default_rng(0).normal(size=more.num_rows)))
    with filled.writer() as writer, _no_room_for_files_over(20_000):
        with pytest.raises(StoreError, match=r"the disk is full.*nothing that was committed is lost"):
            writer.append("readings", more)
        with pytest.raises(StoreError, match="heal it before writing on"):
            writer.commit("half", make.now)
    assert filled.snapshot().commit_id == before
    assert filled.snapshot().read("readings").num_rows == 144
    with filled.writer() as writer:
        writer.append("readings", more)
        writer.commit("again", make.now)
    assert filled.snapshot().read("readings").num_rows == 144 + more.num_rows
