"""``condlube store``: upkeep of a site's store."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from condlube.cli_parts import site as site_argument

if TYPE_CHECKING:
    from condlube.operations.upkeep import Status
    from condlube.store.store import Store


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def store() -> None:
    """Status, compaction, backup and restore of a site's store."""


@store.command()
@site_argument
@click.option("--check", is_flag=True, help="Read every file and hold it against the ledger.")
def status(site: Path, check: bool) -> None:
    """Rows, span, size and last night of every table."""
    from condlube.operations.upkeep import store_status

    _show(store_status(_store(site), check))


@store.command()
@site_argument
@click.option("--keep-evidence-days", default=400, show_default=True, help="Evidence of unflagged nights.")
def compact(site: Path, keep_evidence_days: int) -> None:
    """Put closed months in order, drop old evidence of unflagged nights, remove what no reader needs."""
    from condlube.operations.upkeep import compact as run

    done = run(_store(site), datetime.now(UTC), keep_evidence_days)
    click.echo(f"{len(done.ordered)} months put in order, evidence of {len(done.trimmed)} months trimmed, "
               f"{done.removed} dead files removed")  # fmt: skip


@store.command()
@site_argument
@click.argument("target", type=click.Path(path_type=Path))
def backup(site: Path, target: Path) -> None:
    """Copy the committed state to TARGET, a folder that does not exist yet."""
    from condlube.operations.upkeep import backup as run

    _show(run(_store(site), target))


@store.command()
@site_argument
@click.argument("source", type=click.Path(path_type=Path, exists=True))
def restore(site: Path, source: Path) -> None:
    """Bring back a backup from SOURCE; nothing may be there yet."""
    from condlube.operations.upkeep import restore as run

    _show(run(source, _store(site)))


def _show(found: Status) -> None:
    if held := found.store:
        click.echo(f"{held.folder}, ledger {held.ledger}")
        click.echo(f"commit {held.commit_id} of {held.committed_at:%Y-%m-%d %H:%M} UTC; last night {held.last_night}")
        click.echo(f"{held.ingests} files taken, {held.runs} runs, {held.events} events, {held.reviews} reviews")
        click.echo(f"{'table':<12} {'rows':>12} {'files':>6} {'MB':>8}  months")
        for table in held.tables:
            months = f"{table.first_month} to {table.last_month}" if table.first_month else ""
            click.echo(f"{table.table:<12} {table.rows:>12,} {table.files:>6} {table.bytes / 1e6:>8.1f}  {months}")
    if found.faults is not None:
        click.echo("\n".join(found.faults) or "every file can be read and agrees with the ledger")
        if found.faults:
            raise SystemExit(4)


def _store(site: Path) -> Store:
    from condlube.operations.definition import load
    from condlube.store.store import Store

    definition = load(site)
    return Store.open(definition.store, definition.ledger)
