"""Copying a store whole: to a backup, back from one, and so from one ledger database to another."""

from __future__ import annotations

import shutil

from condlube.errors import StoreError
from condlube.store.delta import to_disk
from condlube.store.faults import reported
from condlube.store.layout import LAYOUT
from condlube.store.store import Store


def backup(store: Store, target: Store) -> None:
    """Copy a live store, at its newest commit, under the writer lock. Raises ``Busy`` while a writer is at work.

    With a target opened without a ledger URL the copy is whole in itself, and can be read where it lies.
    """
    if not store.exists():
        raise StoreError(f"{store.folder}: there is no store to copy")
    with store.writer():
        restore(store, target)


def restore(store: Store, target: Store) -> None:
    """Copy a store that stands still, such as a backup, to a place where there is none.

    Raises
    ------
    StoreError
        When something is in the way at the target, or cannot be read or written; then no copy appears there.
    """
    if not (store.is_local and target.is_local):
        raise StoreError(
            "a store in object storage is copied by that storage's own means, while no writer is at work, "
            "and its ledger by those of PostgreSQL"
        )
    folder = target.folder
    if folder.exists() and any(folder.iterdir()):
        raise StoreError(f"{folder}: is not empty; name a folder that does not exist yet")
    if not store.exists():
        raise StoreError(f"{store.folder}: there is no store to copy")
    if target.ledger.exists():
        raise StoreError(f"{target.ledger.place}: there is a ledger already; name an empty database")
    partial = folder.with_name(folder.name + ".partial")
    with reported(f"copying the store {store.folder} to {folder}"):
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
        for table in LAYOUT:
            shutil.copytree(store.folder / table, partial / table)
        if target.is_whole:
            store.ledger.copy_to(Store.open(partial).ledger)
        to_disk(path for path in partial.rglob("*") if path.is_file())
        if folder.exists():
            folder.rmdir()
        partial.replace(folder)
    if not target.is_whole:
        store.ledger.copy_to(target.ledger)
