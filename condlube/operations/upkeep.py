"""Store upkeep as a user asks for it: what is there, is it sound, make it fast, back it up, bring it back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from condlube.errors import StoreError
from condlube.store.copy import backup as copy_live
from condlube.store.copy import restore as copy_still
from condlube.store.integrity import faults
from condlube.store.status import StoreStatus, status
from condlube.store.store import Store
from condlube.store.upkeep import Upkeep, keep_up

Told = Callable[[str], None]


@dataclass(frozen=True)
class Status:
    """``faults`` is None where the store was not checked; an empty tuple says that it is sound.

    ``store`` is None where it is so damaged that no status can be given; then there are faults.
    """

    store: StoreStatus | None
    faults: tuple[str, ...] | None


def store_status(store: Store, check: bool = False, on_file: Told = lambda file: None) -> Status:
    """Rows, span, size and last night of a store; with ``check`` also whether all of it can be read and adds up."""
    found = tuple(faults(store, on_file)) if check else None
    try:
        return Status(status(store), found)
    except StoreError:
        if not found:
            raise
        return Status(None, found)


def compact(store: Store, now: datetime, retention_days: int = 400, on_step: Told = lambda step: None) -> Upkeep:
    """Order the closed months, let go old evidence, remove dead files. Raises ``Busy`` while the night is at work."""
    return keep_up(store, now, retention_days, on_step=on_step)


def backup(store: Store, target: Path) -> Status:
    """Copy the store into ``target``, a folder that does not exist yet, and check the copy to its last byte."""
    copied = Store.open(target)
    copy_live(store, copied)
    return store_status(copied, check=True)


def restore(source: Path, store: Store) -> Status:
    """Bring a backup to where ``store`` is to be, with its ledger, and check it. Nothing may be there yet."""
    copy_still(Store.open(source), store)
    return store_status(store, check=True)
