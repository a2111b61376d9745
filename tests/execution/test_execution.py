import math
import multiprocessing
import os
import subprocess
import sys
import time
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from condlube.errors import InvalidArgument
from condlube.execution import map_after, map_batches


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


@pytest.mark.parametrize("workers", [1, 2])
def test_what_comes_first_is_done_in_order_and_before_the_rest(workers, tmp_path):
    folders = [tmp_path / str(k) for k in range(5)]
    told: list[tuple[Path, Path]] = []
    before = [folder.parent / str(k - 1) for k, folder in enumerate(folders)]
    before[0].mkdir()  # each needs that of the one before
    batches = list(zip(before, folders, strict=True))
    found = list(map_after(_follow, _names, batches, workers, told.append))
    assert found == [["first"]] * 5
    assert told == batches


def test_an_error_of_what_comes_first_ends_it(tmp_path):
    with pytest.raises(FileNotFoundError):
        list(map_after(_follow, _names, [(tmp_path / "none", tmp_path / "new")], workers=2))


def _follow(batch: tuple[Path, Path]) -> None:
    before, own = batch
    list(before.iterdir())
    (own / "first").mkdir(parents=True)


def _names(batch: tuple[Path, Path]) -> list[str]:
    return [path.name for path in batch[1].iterdir()]


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="the state of a process is read as Linux tells it")
def test_processes_end_when_the_one_that_started_them_is_killed():
    run = subprocess.Popen([sys.executable, "-c", _WAITS], stdout=subprocess.PIPE, text=True)
    with run:
        assert run.stdout is not None
        started = [int(pid) for pid in run.stdout.readline().split()]
        assert len(started) == 2
        run.kill()
    ends = time.monotonic() + 10
    while any(map(_lives, started)):
        assert time.monotonic() < ends
        time.sleep(0.1)


_WAITS = """
import multiprocessing, time
from condlube.execution import map_batches
if __name__ == "__main__":
    list(map_batches(abs, [1, 2], workers=2))
    print(*(child.pid for child in multiprocessing.active_children()), flush=True)
    time.sleep(60)
"""


def _lives(pid: int) -> bool:
    """Whether a process works or waits; one that ended and that nobody asks about any more does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


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
