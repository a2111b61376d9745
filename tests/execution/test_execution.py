import math
import multiprocessing
import os
import time
from concurrent.futures.process import BrokenProcessPool

import pytest

from condlube.errors import InvalidArgument
from condlube.execution import map_batches


def test_order_is_kept_serially_and_in_processes():
    batches = list(range(9))
    expected = [math.factorial(b) for b in batches]
    assert list(map_batches(math.factorial, batches)) == expected
    assert list(map_batches(math.factorial, batches, workers=2)) == expected


def test_processes_keep_freed_memory_unless_the_user_says_otherwise(monkeypatch):
    monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", "131072")
    before = dict(os.environ)
    names = ["ARROW_DEFAULT_MEMORY_POOL", "MALLOC_TRIM_THRESHOLD_"]
    assert list(map_batches(os.getenv, names, workers=3)) == ["system", "131072"]  # 3: processes of its own
    assert dict(os.environ) == before


def test_processes_that_died_between_two_calls_are_replaced():
    assert list(map_batches(math.factorial, [3], workers=2)) == [6]
    for process in multiprocessing.active_children():
        process.kill()
        process.join()
    time.sleep(1.0)  # the pool notices in a moment
    with pytest.raises(BrokenProcessPool):
        list(map_batches(math.factorial, [3], workers=2))
    assert list(map_batches(math.factorial, [3], workers=2)) == [6]


def test_a_dask_cluster_gives_the_same():
    distributed = pytest.importorskip("distributed", reason="the dask extra is not installed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        found = list(map_batches(math.factorial, [3, 1, 2], cluster=cluster.scheduler_address))
    assert found == [6, 1, 2]


def test_no_workers_is_refused():
    with pytest.raises(InvalidArgument, match="workers = 0"):
        list(map_batches(math.factorial, [1], workers=0))
