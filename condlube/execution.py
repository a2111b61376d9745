"""One way to apply a function to batches: serially, in processes, or on a Dask cluster."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import cache
from multiprocessing import get_context, parent_process
from threading import Thread
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
        with _working(workers, function) as pool:
            yield from pool.map(function, batches)


def map_after(
    first: Callable[[Batch], object], then: Callable[[Batch], Result], batches: Sequence[Batch], workers: int = 1,
    on_first: Callable[[Batch], None] = lambda batch: None,
) -> Iterator[Result]:  # fmt: skip
    """Results of ``then`` in the order of ``batches``; each begins once ``first`` has been through its batch.

    ``first`` takes one batch after the other, since it may need what it made of those before; ``on_first`` is told of
    each in this process. ``workers`` as for ``map_batches``.
    """
    if workers == 1:
        for batch in batches:
            first(batch)
            on_first(batch)
            yield then(batch)
        return
    with _working(workers, then) as pool:
        coming: deque[Future[Result]] = deque()
        firsts = (pool.submit(first, batch) for batch in batches)  # each begun when it is asked for
        try:
            ahead = next(firsts, None)
            for batch in batches:
                assert ahead is not None
                ahead.result()
                on_first(batch)
                ahead = next(firsts, None)  # before the rest, which then always finds something to do
                coming.append(pool.submit(then, batch))
                while coming and coming[0].done():
                    yield coming.popleft().result()
            while coming:
                yield coming.popleft().result()
        finally:
            for left in coming:
                left.cancel()


@contextmanager
def _working(workers: int, function: Callable[..., object]) -> Iterator[ProcessPoolExecutor]:
    """The pool, whose processes start and import what the function needs meanwhile; one that died is replaced."""
    pool = _pool(workers)
    try:
        with _environment(_KEEP_MEMORY):
            for _ in range(workers):
                pool.submit(_expect, function)
        yield pool
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
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_end_with_parent)


def _end_with_parent() -> None:
    """Let this process end when the one that started it is killed; it would wait for work for ever."""
    parent = parent_process()
    assert parent is not None

    def wait() -> None:
        parent.join()
        os._exit(1)

    Thread(target=wait, daemon=True).start()


def _on_dask(function: Callable[[Batch], Result], batches: Iterable[Batch], cluster: str) -> Iterator[Result]:
    from distributed import Client

    with Client(cluster) as client:
        futures = client.map(function, list(batches), pure=False)
        for future in futures:
            yield future.result()
            future.release()
