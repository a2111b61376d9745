"""Lines that were not stored, counted by reason and kept with their raw text."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import IO

import numpy as np
import pyarrow as pa

from condlube.acquisition.reasons import NAME
from condlube.schema.arrow import conform

_IN_MEMORY = 250_000
_SCHEMA = pa.schema(
    [
        ("line", pa.int64()),
        ("field", pa.string()),
        ("reason", pa.string()),
        ("repeats", pa.int64()),
        ("raw", pa.string()),
    ]
)
_REASONS = pa.array([None, *NAME.values()], pa.string())


class Rejects:
    """One row per rejected line and field; ``repeats`` says for how many lines it stands. Many go to a file."""

    def __init__(self) -> None:
        self.by_reason: Counter[str] = Counter()
        self._held: list[pa.RecordBatch] = []
        self._held_count = 0
        self._file: IO[bytes] | None = None
        self._writer: pa.RecordBatchFileWriter | None = None

    @property
    def count(self) -> int:
        return self.by_reason.total()

    def add(
        self, line: np.ndarray, reason: np.ndarray, field: Sequence[str], raw: Sequence[str], repeats: np.ndarray
    ) -> None:
        """``reason`` holds codes; all have one length."""
        if len(line) == 0:
            return
        totals = np.bincount(reason, weights=repeats)
        self.by_reason.update({NAME[code]: int(totals[code]) for code in np.flatnonzero(totals).tolist()})
        columns = [line, list(field), _REASONS.take(pa.array(reason)), repeats, list(raw)]
        arrays = [
            pa.array(c, f.type) if not isinstance(c, pa.Array) else c for c, f in zip(columns, _SCHEMA, strict=True)
        ]
        self._held.append(pa.RecordBatch.from_arrays(arrays, schema=_SCHEMA))
        self._held_count += len(line)
        if self._held_count > _IN_MEMORY:
            self._spill()

    def tables(self, ingest_id: str, source: str, file: str, known_at: datetime) -> Iterator[pa.Table]:
        """The rejects as schema tables, a few hundred thousand rows at a time."""
        for batches in self._batches():
            table = pa.Table.from_batches(batches, _SCHEMA)
            for name, value in (("ingest_id", ingest_id), ("source", source), ("file", file)):
                table = table.append_column(name, pa.repeat(value, len(table)))
            stamp = pa.scalar(known_at, pa.timestamp("us", tz="UTC"))
            yield conform("rejects", table.append_column("known_at", pa.repeat(stamp, len(table))))

    def close(self) -> None:
        if self._file:
            self._file.close()

    def _batches(self) -> Iterator[list[pa.RecordBatch]]:
        if self._file is None:
            if self._held:
                yield self._held
            return
        self._spill()
        assert self._writer is not None
        self._writer.close()
        with pa.ipc.open_file(self._file) as reader:
            for k in range(reader.num_record_batches):
                yield [reader.get_batch(k)]

    def _spill(self) -> None:
        if self._writer is None:
            self._file = tempfile.TemporaryFile()  # noqa: SIM115 - closed by close()
            self._writer = pa.ipc.new_file(self._file, _SCHEMA)
        if self._held:
            self._writer.write_table(pa.Table.from_batches(self._held).combine_chunks())
        self._held, self._held_count = [], 0
