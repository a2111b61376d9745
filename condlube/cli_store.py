"""``condlube store``: upkeep of a site's store."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from condlube.cli_parts import progress
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

    with progress("upkeep") as step:
        done = run(_store(site), datetime.now(UTC), keep_evidence_days, on_step=step)
    click.echo(f"months put in order {len(done.ordered):,}, months of evidence trimmed {len(done.trimmed):,}, "
               f"dead files removed {done.removed:,}")  # fmt: skip


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
        decided = f"last night decided {held.last_night}" if held.last_night else "no night decided yet"
        click.echo(f"{held.folder}, ledger {held.ledger}")
        click.echo(f"commit {held.commit_id} of {held.committed_at:%Y-%m-%d %H:%M} UTC; {decided}")
        click.echo(f"{held.ingests:,} files, {held.runs:,} runs, {held.events:,} events, {held.reviews:,} reviews")
        if held.first_reading and held.last_reading:
            click.echo(f"readings from {held.first_reading:%Y-%m-%d %H:%M} to {held.last_reading:%Y-%m-%d %H:%M} UTC")
        click.echo(f"{'table':<10} {'rows':>15} {'files':>6} {'MB':>9}  months")
        for table in held.tables:
            months = dict.fromkeys(month for month in (table.first_month, table.last_month) if month)
            line = f"{table.table:<10} {table.rows:>15,} {table.files:>6,} {table.bytes / 1e6:>9,.1f}"
            click.echo(f"{line}  {' to '.join(months)}".rstrip())
        if held.bytes_on_disk is not None:
            click.echo(f"{held.bytes_on_disk / 1e6:,.1f} MB on disk, with the ledger and what older versions need")
    if found.faults is not None:
        click.echo("\n".join(found.faults) or "every file can be read and agrees with the ledger")
        if found.faults:
            raise SystemExit(4)


def _store(site: Path) -> Store:
    from condlube.operations.definition import load
    from condlube.store.store import Store

    definition = load(site)
    return Store.open(definition.store, definition.ledger)
