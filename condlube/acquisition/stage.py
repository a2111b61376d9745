"""Readings of one file on their way to the store: kept in memory while few, in temporary files by point when many."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from typing import IO

import numpy as np

from condlube.acquisition.normalise import READING, joined

IN_MEMORY = 6_000_000
PART = 1_500_000
_BUCKETS = 64


class Stage:
    """Takes readings in any order and gives them back in parts that hold all readings of their points.

    Memory stays flat however many there are. Use as a context manager: temporary files go with it.
    """

    def __init__(self, points: int, in_memory: int = IN_MEMORY, part: int = PART) -> None:
        self.count = 0
        self._points = max(points, 1)
        self._in_memory, self._part = in_memory, part
        self._held: list[np.ndarray] = []
        self._held_count = 0
        self._files: list[IO[bytes]] = []
        self._in_file = np.zeros(_BUCKETS, np.int64)
        self._open = ExitStack()

    def __enter__(self) -> Stage:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def add(self, readings: np.ndarray) -> None:
        if len(readings) == 0:
            return
        self.count += len(readings)
        self._held.append(readings)
        self._held_count += len(readings)
        if self._held_count > self._in_memory:
            self._spill()

    def parts(self) -> Iterator[np.ndarray]:
        """All readings, point ranges one after another; a part is about ``part`` readings, more for one busy range."""
        if self._files:
            self._spill()
        else:
            yield from self._parts_in_memory()
            return
        gathered: list[np.ndarray] = []
        for bucket, file in enumerate(self._files):
            if gathered and sum(map(len, gathered)) + self._in_file[bucket] > self._part:
                yield joined(gathered)
                gathered = []
            file.seek(0)
            gathered.append(np.fromfile(file, READING))
        yield joined(gathered)

    def _parts_in_memory(self) -> Iterator[np.ndarray]:
        readings = joined(self._held)
        self._held = [readings]
        # Numbers of 16 bits are sorted by their digits, several times faster than longer ones.
        point = readings["point"].astype(np.uint16 if self._points <= 1 << 16 else np.int32)
        order = np.argsort(point, kind="stable")
        ends = np.cumsum(np.bincount(point))
        begin = 0
        while begin + self._part < len(point):
            end = int(ends[np.searchsorted(ends, begin + self._part, side="right")])
            yield readings.take(order[begin:end])
            begin = end
        yield readings.take(order[begin:])

    def _spill(self) -> None:
        if not self._files:
            self._files = [self._open.enter_context(tempfile.TemporaryFile()) for _ in range(_BUCKETS)]  # noqa: SIM115
        for readings in self._held:
            bucket = (readings["point"].astype(np.int64) * _BUCKETS // self._points).astype(np.uint8)
            order = np.argsort(bucket, kind="stable")
            bounds = np.searchsorted(bucket[order], np.arange(_BUCKETS + 1))
            for k in np.flatnonzero(np.diff(bounds)).tolist():
                readings.take(order[bounds[k] : bounds[k + 1]]).tofile(self._files[k])
            self._in_file += np.diff(bounds)
        self._held, self._held_count = [], 0
