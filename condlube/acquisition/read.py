"""One export through its reader: every line becomes a reading or a reject, block by block in flat memory."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from condlube.acquisition.account import Account
from condlube.acquisition.ahead import ahead
from condlube.acquisition.blocks import BLOCK_BYTES, Export, Lines
from condlube.acquisition.clock import Change, changes
from condlube.acquisition.definition import SourceDefinition
from condlube.acquisition.normalise import NOT_LOCAL, READING, Normal, Normaliser
from condlube.acquisition.readers.long import Long
from condlube.acquisition.readers.per_tag import PerTag
from condlube.acquisition.readers.route import Route
from condlube.acquisition.readers.wide import Wide
from condlube.acquisition.readers.wide_headers import WideHeaders
from condlube.acquisition.rejects import Rejects
from condlube.acquisition.repeated_hour import CONTEXT_US, SECOND, UNKNOWN, folds
from condlube.acquisition.rows import Layout
from condlube.acquisition.stage import Stage
from condlube.acquisition.tags import TagIndex

READERS: dict[str, Callable[[Lines, SourceDefinition], Layout]] = {
    "long": Long,
    "wide": Wide,
    "wide_headers": WideHeaders,
    "per_tag": PerTag,
    "route": Route,
}
_WHOLE_BYTES = 1 << 30


def read(
    export: Export,
    source: SourceDefinition,
    index: TagIndex,
    site_zone: ZoneInfo,
    now: datetime,
    stage: Stage,
    rejects: Rejects,
    block_bytes: int = BLOCK_BYTES,
) -> Account:
    """Bring the readings of ``export`` into ``stage`` and the rest into ``rejects``.

    ``index`` is that of the source; READING's point is a row of the points table that it was made from. Raises
    ``Unreadable`` where the file as a whole cannot be read. ``Account.late`` has still to be settled by ``look_again``.
    """
    held = _Held()
    with closing(_lines(export, source, block_bytes)) as lines:
        layout = READERS[source.reader](lines, source)
        account = Account(layout, index.with_units(layout.header_units), rejects)
        normaliser = Normaliser(source, account.index, site_zone, now)
        for rows in ahead(map(layout.rows, lines)):
            normal = normaliser(rows, layout.encoding)
            account.take(rows, normal.problem)
            stage.add(held.hold_back(normal, normaliser.zone))
    resolved, unknown, future = held.resolve(normaliser)
    stage.add(resolved)
    account.add_late(unknown["line"], unknown["tag"], "repeated_hour")
    account.add_late(future["line"], future["tag"], "future")
    account.settle_tags()
    return account


def look_again(account: Account, export: Export, source: SourceDefinition, block_bytes: int = BLOCK_BYTES) -> None:
    """Read the file once more for the raw text of the rejects that were found out late."""
    if not account.late:
        return
    with closing(_lines(export, source, block_bytes)) as lines:
        for block in lines:
            account.settle_late(block)
    account.late.clear()


def _lines(export: Export, source: SourceDefinition, block_bytes: int) -> Lines:
    """The lines of a file; where records may run over several lines they come in one block."""
    return Lines(export, source.format.encoding, _WHOLE_BYTES if source.reader == "route" else block_bytes)


class _Held:
    """Readings in or near a repeated hour, which can be told apart only when all of their point are known."""

    def __init__(self) -> None:
        self._near: dict[Change, list[tuple[np.ndarray, np.ndarray]]] = {}

    def hold_back(self, normal: Normal, zone: ZoneInfo) -> np.ndarray:
        """The readings that need not wait."""
        local = normal.local_us
        if local is None or len(local) == 0:
            return normal.readings
        clocked = local[local != NOT_LOCAL]
        for change in changes(zone, int(clocked.min()), int(clocked.max())) if len(clocked) else []:
            near = (local >= change.first_us - CONTEXT_US) & (local < change.last_us + CONTEXT_US)
            if change.repeats and near.any():
                self._near.setdefault(change, []).append((normal.readings[near], local[near]))
        return normal.readings.compress(~normal.twice) if normal.twice.any() else normal.readings

    def resolve(self, normaliser: Normaliser) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Readings whose hour is known now, those whose hour is not, and those that then lie in the future."""
        resolved, unknown, future = ([np.empty(0, READING)] for _ in range(3))
        for change, parts in self._near.items():
            readings, local = (np.concatenate(column) for column in zip(*parts, strict=True))
            fold = folds(readings["tag"], readings["line"], local, change)
            twice = (local >= change.first_us) & (local < change.last_us)
            readings["time"][fold == SECOND] += change.before_us - change.after_us
            late = readings["time"] + normaliser.shift_us > normaliser.latest_us
            unknown.append(readings[twice & (fold == UNKNOWN)])
            future.append(readings[twice & (fold != UNKNOWN) & late])
            resolved.append(readings[twice & (fold != UNKNOWN) & ~late])
        return np.concatenate(resolved), np.concatenate(unknown), np.concatenate(future)
