"""Files into the store: each read to its end before anything of it is appended, small ones committed together.

A commit holds whole files, each with its row in the ledger. Nothing of a file is visible before its commit; what a
process that died had appended is taken back by the next writer.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Mapping
from contextlib import closing
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa

from condlube.acquisition.account import Account
from condlube.acquisition.ahead import ahead
from condlube.acquisition.blocks import Unreadable
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.duplicates import meet, newest, not_stored, settle
from condlube.acquisition.normalise import instant_of, joined
from condlube.acquisition.output import instants, to_table
from condlube.acquisition.read import look_again, read
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.stage import Stage
from condlube.acquisition.tags import index_tags
from condlube.errors import StoreError
from condlube.operations.ingest_file import Found, ingest_id_of, ledger_row
from condlube.operations.ingest_report import FileReport
from condlube.operations.ingest_stored import Stored
from condlube.register.model import Register
from condlube.store.writer import Writer

# A file with more readings is committed alone; smaller ones together, until there are so many readings or files.
ALONE = 250_000
TOGETHER = 1_000_000
FILES = 500


class Batch:
    """Files of one source on their way into the store. What is taken counts only after ``commit``.

    ``remember`` is told the ledger row of each file as soon as it is taken.
    """

    def __init__(
        self,
        source: SourceDefinition,
        register: Register,
        writer: Writer,
        now: datetime,
        remember: Callable[[Mapping[str, Any]], None],
    ) -> None:
        self._source, self._register, self._writer, self._now = source, register, writer, now
        self._remember = remember
        self._delay = timedelta(hours=source.delay_h) if source.history else None
        self._point_ids = register.points["point_id"].combine_chunks()
        self._index = index_tags(source, register.points)
        self._stored = Stored(writer, self._point_ids)
        self._start()

    def take(self, found: Found) -> list[FileReport]:
        """Read one file. Gives the reports that are final by now: of files committed, of this one if it has to wait.

        Raises ``Unreadable`` or ``OSError``, nothing of it kept, if the file cannot be read. No room to work in, or a
        failing store, is a ``StoreError``: later files must not overtake this one.
        """
        register = self._register
        with Stage(register.points.num_rows) as stage, closing(Rejects()) as rejects:
            try:
                zone = register.site.zone
                account = read(found.export, self._source, self._index, zone, self._now, stage, rejects)
            except OSError as error:
                if error.errno in (errno.ENOSPC, errno.EDQUOT):
                    raise StoreError(f"{found.label}: no room for temporary files while reading it: {error}") from error
                raise
            if not found.is_unchanged():
                return [FileReport(self._source.name, found.label, "waiting", "it was written to while it was read")]
            try:
                return self._add(found, account, stage)
            except (Unreadable, OSError) as error:
                raise StoreError(f"{found.label}: it was read, but could not be stored: {error}") from error

    def commit(self) -> list[FileReport]:
        """Make all that was taken valid, and give its reports."""
        if not self._reports:
            return []
        try:
            self._append_readings()
            if self._rejects:
                self._writer.append("rejects", pa.concat_tables(self._rejects))
            self._writer.commit(self._source.name, self._now, self._rows)
        except OSError as error:
            raise StoreError(f"files of {self._source.name} were read, but could not be stored: {error}") from error
        reports = self._reports
        self._stored.refresh()
        self._start()
        return reports

    def _start(self) -> None:
        self._fresh: list[np.ndarray] = []
        self._ids: list[str] = []
        self._rejects: list[pa.Table] = []
        self._reports: list[FileReport] = []
        self._rows: dict[str, list[dict[str, Any]]] = {"ingests": [], "remarks": []}

    def _add(self, found: Found, account: Account, stage: Stage) -> list[FileReport]:
        alone = stage.count > ALONE
        final = self.commit() if alone else []
        ingest_id = ingest_id_of(self._source, found)
        stored_count = 0
        spans: list[datetime] = []
        remarks: list[dict[str, Any]] = []
        for kept, conflicting in ahead(map(settle, stage.parts())):
            account.add_late(conflicting["line"], conflicting["tag"], "conflict")
            held = self._held_like(kept)
            new = not_stored(kept, newest(joined([self._stored.like(kept), held])))
            fresh = kept if new.all() else kept.compress(new)
            if meet(held, fresh):  # a correction goes into an append of its own
                final += self.commit()
            self._fresh.append(fresh)
            self._ids.append(ingest_id)
            if alone:
                self._append_readings()
            stored_count += len(fresh)
            remarks += _remarks(account, fresh, self._point_ids)
            spans += [moment for moment in instants(kept) if moment]
        look_again(account, found.export, self._source)
        last = max(spans, default=None)
        known_at = self._now if self._delay is None else last + self._delay if last else None
        for table in account.rejects.tables(ingest_id, self._source.name, found.label, known_at or self._now):
            if alone:
                self._writer.append("rejects", table)
            else:
                self._rejects.append(table)
        report = FileReport(
            source=self._source.name,
            file=found.label,
            outcome="taken",
            ingest_id=ingest_id,
            lines=account.lines,
            stored=stored_count,
            duplicate=account.lines - stored_count - account.rejects.count,
            rejected=account.rejects.count,
            empty=account.empty,
            by_reason=dict(account.rejects.by_reason.most_common()),
            unknown_tags=account.tag_counts("unknown_tag"),
            first=min(spans, default=None),
            last=last,
        )
        self._reports.append(report)
        row = ledger_row(report, found, self._source, known_at)
        self._rows["ingests"].append(row)
        self._rows["remarks"] += [remark | {"ingest_id": ingest_id, "known_at": known_at} for remark in remarks]
        self._remember(row)
        if alone or len(self._reports) >= FILES or sum(map(len, self._fresh)) > TOGETHER:
            final += self.commit()
        return final

    def _held_like(self, readings: np.ndarray) -> np.ndarray:
        """Readings taken but not committed that are of the same points and of the same time."""
        if len(readings) == 0:
            return readings
        first, last = readings["time"].min(), readings["time"].max()
        near = [fresh.compress((fresh["time"] >= first) & (fresh["time"] <= last)) for fresh in self._fresh]
        return joined([each.compress(np.isin(each["point"], readings["point"])) for each in near])

    def _append_readings(self) -> None:
        """Append what is held, in the order of points and times."""
        readings = self._fresh[0] if len(self._fresh) == 1 else joined(self._fresh)
        ids = np.repeat(np.arange(len(self._ids), dtype=np.int32), [len(each) for each in self._fresh])
        if len(self._fresh) > 1:
            order = np.lexsort((readings["time"], readings["point"]))
            readings, ids = readings.take(order), ids.take(order)
        if len(readings):
            ingest_ids = pa.DictionaryArray.from_arrays(ids, pa.array(self._ids))
            table = to_table(readings, self._point_ids, ingest_ids, self._now, self._delay)
            self._writer.append("readings", table)
        self._fresh, self._ids = [], []


def _remarks(account: Account, fresh: np.ndarray, point_ids: pa.Array) -> list[dict[str, object]]:
    """What people wrote beside the readings that are new."""
    if not account.remarks:
        return []
    _, first = np.unique(fresh["line"], return_index=True)
    remarks: list[dict[str, object]] = []
    for reading in fresh[first]:
        if said := account.remarks.pop(int(reading["line"]), None):
            place = {"point_id": point_ids[int(reading["point"])].as_py(), "time": instant_of(int(reading["time"]))}
            remarks.append({"line": int(reading["line"]), **place, "who": said[0], "note": said[1]})
    return remarks
