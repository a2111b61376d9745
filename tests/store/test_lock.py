from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import ExitStack

import pytest

from condlube.errors import Busy
from condlube.store.integrity import faults
from condlube.store.store import Store

HOLD = """
import sys, time
from pathlib import Path
from condlube.store.integrity import faults
from condlube.store.store import Store
with Store.open(Path(sys.argv[1])).writer():
    print("held", flush=True)
    time.sleep(60)
"""


def holder(store):
    process = subprocess.Popen([sys.executable, "-c", HOLD, str(store.folder)], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "held\n"
    return process


def test_a_second_writer_is_refused_at_once_and_told_who_writes(store):
    with holder(store) as process:
        began = time.monotonic()
        with pytest.raises(Busy, match=f"written by process {process.pid} on "), store.writer():
            pass
        assert time.monotonic() - began < 1
        assert store.snapshot().commit_id == 1, "reading goes on"
        process.kill()


def test_the_lock_dies_with_its_process(store):
    with holder(store) as process:
        process.kill()
        process.wait(10)
    with store.writer() as writer:
        assert writer.snapshot().commit_id == 1


def test_a_writer_that_waits_gets_its_turn(store):
    with holder(store) as process:
        process.terminate()
        with store.writer(timeout_s=20):
            pass


def test_two_writers_of_one_process_exclude_each_other(store):
    with store.writer():
        with pytest.raises(Busy, match=f"process {os.getpid()}"), Store.open(store.folder).writer():
            pass
        with pytest.raises(Busy), store.writer():
            pass
    with store.writer():
        pass


def test_a_holder_that_cannot_be_named_is_still_respected(store):
    with store.writer():
        (store.folder / "writer.holder").unlink()
        with pytest.raises(Busy, match="another process"), store.writer():
            pass


def test_what_the_user_does_inside_is_not_reported_as_a_fault_of_the_store(store):
    with pytest.raises(OSError, match="mine"), store.writer():
        raise OSError("mine")
    with store.writer():
        pass


WRITE = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from condlube.schema.arrow import rows_to_table
from condlube.store.integrity import faults
from condlube.store.store import Store
now, store = datetime(2026, 3, 1, tzinfo=UTC), Store.open(Path(sys.argv[1]))
for k in range(4):
    with store.writer(timeout_s=60) as writer:
        name = f"{sys.argv[2]}{k}"
        writer.append("readings", rows_to_table("readings", [{"point_id": name, "time": now, "ingest_id": name}]))
        writer.commit(name, now, {"ingests": [{"ingest_id": name, "stored": 1}]})
        store.record("beside", now, {"events": [{"event_id": name, "time": now, "kind": "inspection"}]})
"""


def test_three_writers_at_once_lose_nothing(store):
    with ExitStack() as stack:
        started = [
            stack.enter_context(
                subprocess.Popen([sys.executable, "-c", WRITE, str(store.folder), n], stderr=subprocess.PIPE, text=True)
            )
            for n in "abc"
        ]
        assert [(p.communicate(timeout=120)[1], p.returncode) for p in started] == [("", 0)] * 3
    names = sorted(f"{writer}{k}" for writer in "abc" for k in range(4))
    assert sorted(store.snapshot().read("readings")["point_id"].to_pylist()) == names
    assert sorted(row["event_id"] for row in store.ledger_rows("events")) == names
    assert [row["commit_id"] for row in store.ledger_rows("commits")] == list(range(1, 2 * 12 + 2))
    assert faults(store) == []
