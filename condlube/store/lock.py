"""The writer lock: one writer at a time, and the lock dies with its process."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from condlube.errors import Busy

LOCK = "writer.lock"
HOLDER = "writer.holder"


@contextmanager
def writer_lock(folder: Path, timeout_s: float) -> Iterator[None]:
    """Hold the lock of ``folder`` while the block runs.

    An operating-system lock on a file: it ends with the process, however that ends, so there is nothing to clean up.
    Beside it a note says who holds it; the note alone locks nothing.

    Raises
    ------
    Busy
        When another process, or another writer of this process, holds it for longer than ``timeout_s``.
    """
    lock = FileLock(folder / LOCK, timeout=timeout_s, fallback_to_soft=False)
    try:
        lock.acquire()
    except Timeout as error:
        raise Busy(f"{folder}: being written by {_holder(folder)}; wait until it has ended and run again") from error
    try:
        (folder / HOLDER).write_text(f"process {os.getpid()} on {socket.gethostname()}", encoding="utf-8")
        yield
    finally:
        (folder / HOLDER).unlink(missing_ok=True)
        lock.release()


def _holder(folder: Path) -> str:
    try:
        return (folder / HOLDER).read_text(encoding="utf-8")
    except OSError:
        return "another process"
