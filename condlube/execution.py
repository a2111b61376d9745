"""One way to apply a function to batches: serially, in processes, or on a Dask cluster."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import cache
from multiprocessing import get_context
from typing import TypeVar

from condlube.errors import InvalidArgument

Batch = TypeVar("Batch")
Result = TypeVar("Result")

_KEEP_MEMORY = {
    "ARROW_DEFAULT_MEMORY_POOL": "system", "MALLOC_MMAP_THRESHOLD_": f"{2**30}", "MALLOC_TRIM_THRESHOLD_": f"{2**30}"
}  # fmt: skip
"""Environment of worker processes, unless the user's says otherwise: batch after batch frees and asks for the same
gigabyte, which glibc would give back and have blanked anew each time. Elsewhere nothing reads it."""


def map_batches(
    function: Callable[[Batch], Result], batches: Iterable[Batch], workers: int = 1, cluster: str = ""
) -> Iterator[Result]:
    """Results in the order of ``batches``, which must be independent of each other.

    ``workers`` of 1 runs in this process, more in that many processes. ``cluster`` is the address of a Dask
    scheduler; it then takes the place of ``workers``. Function and batches must pickle when they leave the process.
    """
    if workers < 1:
        raise InvalidArgument("workers", workers, "a whole number of at least 1")
    if cluster:
        yield from _on_dask(function, batches, cluster)
    elif workers == 1:
        yield from map(function, batches)
    else:
        pool = _pool(workers)
        try:
            with _environment(_KEEP_MEMORY):
                for _ in range(workers):  # they start and import while the first batch is made
                    pool.submit(_expect, function)
            yield from pool.map(function, batches)
        except BrokenProcessPool:
            _pool.cache_clear()
            raise


@contextmanager
def _environment(wanted: Mapping[str, str]) -> Iterator[None]:
    """Variables that processes started meanwhile inherit."""
    missing = {name: value for name, value in wanted.items() if name not in os.environ}
    os.environ.update(missing)
    try:
        yield
    finally:
        for name in missing:
            del os.environ[name]


def _expect(function: Callable[..., object]) -> None:
    """Reaching this has imported what the function needs."""


@cache
def _pool(workers: int) -> ProcessPoolExecutor:
    """The processes, started once and kept: each first has to import what it works with."""
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))


def _on_dask(function: Callable[[Batch], Result], batches: Iterable[Batch], cluster: str) -> Iterator[Result]:
    from distributed import Client

    with Client(cluster) as client:
        futures = client.map(function, list(batches), pure=False)
        for future in futures:
            yield future.result()
            future.release()
