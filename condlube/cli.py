"""Commands; each calls one operation, imported when the command runs.

Exit codes: 0 done; 1 some bearings could not be decided; 2 wrong usage, or faults in the site's files; 3 another run is
at work; 4 the store cannot be used.
"""

from __future__ import annotations

import gc
import importlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click

from condlube.cli_parts import Night, folded, json_flag, progress, width
from condlube.cli_parts import site as site_argument
from condlube.errors import Busy, CondlubeError, StoreError

_LAZY = {
    "access": "condlube.cli_review:access", "backtest": "condlube.cli_backtest:backtest",
    "calc": "condlube.cli_calc:calc", "policy": "condlube.cli_review:policy",
    "store": "condlube.cli_store:store", "tune": "condlube.cli_backtest:tune",
}  # fmt: skip
_CONTEXT = {"help_option_names": ["-h", "--help"]}


class _Commands(click.Group):
    """Some commands are imported when they are called; errors become one message and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted([*super().list_commands(ctx), *_LAZY])

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name in _LAZY:
            module, _, attribute = _LAZY[name].partition(":")
            command: click.Command = getattr(importlib.import_module(module), attribute)
            return command
        return super().get_command(ctx, name)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except CondlubeError as error:
            click.echo(str(error), err=True)
            ctx.exit(3 if isinstance(error, Busy) else 4 if isinstance(error, StoreError) else 2)


@click.group(cls=_Commands, context_settings=_CONTEXT)
@click.version_option(package_name="condlube")
def main() -> None:
    """Condition-based relubrication decisions for grease-lubricated rolling bearings.

    SITE is a folder that holds nightly.toml, or such a file. Begin with `condlube demo`.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


@main.command()
@click.argument("folder", type=click.Path(path_type=Path), default="demo-plant")
def demo(folder: Path) -> None:
    """Write an invented plant into FOLDER and run its last fourteen nights."""
    from condlube.operations.demo import demo_nights, lay_site, write_history
    from condlube.schema.nights import nights_between

    lay_site(folder)
    with _compiling(folder):
        with progress("writing eighteen months of exports") as _:
            write_history(folder)
        _run(folder, nights_between(*demo_nights()), force=False)
    click.echo(f"\nNext: condlube explain {folder} BEARING     the truth of the plant: {folder / 'truth.csv'}")


@main.command()
@site_argument
def check(site: Path) -> None:
    """Report every fault in the definition, register, events, sources and policy, all at once."""
    from condlube.operations.check import check as run

    checked = run(site)
    for warning in checked.warnings:
        click.echo(f"note: {warning}")
    click.echo(
        f"{checked.register.site.name}: {checked.register.bearings.num_rows} bearings, "
        f"{checked.register.points.num_rows} points, {checked.events.num_rows} events: no faults"
    )


@main.command()
@site_argument
@click.option("--as-of", "night", type=Night(), help="Night to decide, a local date. Default: the last that ended.")
@click.option("--from", "first", type=Night(), help="First of several nights, to catch up.")
@click.option("--to", "last", type=Night(), help="Last of several nights.")
@click.option("--force", is_flag=True, help="Decide again what has been decided before.")
@json_flag
def nightly(site: Path, night: date | None, first: date | None, last: date | None, force: bool, as_json: bool) -> None:
    """Take in what is new and decide every bearing."""
    from condlube.schema.nights import nights_between

    if (first is None) != (last is None) or (night and first):
        raise click.UsageError("give --as-of, or --from and --to together")
    if first and last and first > last:
        raise click.UsageError(f"--from {first} is after --to {last}")
    nights = nights_between(first, last) if first and last else [night] if night else []
    with _compiling(site):
        code = _run(site, nights, force, as_json)
    sys.exit(code)


@main.command()
@site_argument
@click.argument("bearing")
@click.option("--night", type=Night(), help="Default: the last night decided.")
@json_flag
def explain(site: Path, bearing: str, night: date | None, as_json: bool) -> None:
    """Show one decision with its reasoning, row by row."""
    from condlube.operations.explain import explain as run

    explained = run(site, bearing, night)
    click.echo(explained.json() if as_json else explained.text(width()))


@main.command()
@site_argument
@click.option("--night", type=Night(), help="Default: the last night decided.")
@json_flag
def worklist(site: Path, night: date | None, as_json: bool) -> None:
    """Print the work list: what to grease, by route."""
    from condlube.operations.worklist import worklist as run

    made = run(site, night)
    click.echo(made.json() if as_json else made.text(width()))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def init(folder: Path) -> None:
    """Write a starter site into FOLDER: definition, sources and register to fill in."""
    from condlube.operations.init import init as run

    for path in run(folder):
        click.echo(path)
    click.echo(f"Next: fill in the register, then `condlube check {folder}`")


@main.command()
@site_argument
@click.option("--dry-run", is_flag=True, help="Show what the definitions would make of the files; store nothing.")
def ingest(site: Path, dry_run: bool) -> None:
    """Take in new exports and account for every line."""
    from condlube.operations.ingest_site import ingest_site, preview_site

    if dry_run:
        click.echo(folded(preview_site(site, datetime.now(UTC))))
        return
    with progress("taking in exports") as step:
        report = ingest_site(site, datetime.now(UTC), lambda file: step(f"{file.outcome} {file.file}"))
    click.echo(folded(report.text()))


@main.command()
@click.argument("sample", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--name", default="historian", show_default=True, help="Name of the source.")
@click.option("--files", "pattern", default="", help="Pattern of its files, relative to the site folder.")
@click.option("--site", type=click.Path(path_type=Path, exists=True), help="Site whose tags the sample should know.")
def guess(sample: Path, name: str, pattern: str, site: Path | None) -> None:
    """Propose a source definition from a SAMPLE export, to be confirmed by a person."""
    from condlube.operations.ingest_site import guess_for_site

    click.echo(guess_for_site(sample, name, pattern or f"exports/{sample.name}", site))


@main.command()
@site_argument
@click.argument("kind", required=False)
@click.option("--file", "source", type=click.Path(path_type=Path, exists=True, dir_okay=False), help="Events as CSV.")
@click.option("--set", "fields", multiple=True, metavar="COLUMN=VALUE", help="One column of the event; repeat.")
def record(site: Path, kind: str | None, source: Path | None, fields: tuple[str, ...]) -> None:
    """Record what was done or found: KIND with --set, or many events with --file.

    For instance: record SITE relubrication --set bearing_id=P-1101-MDE --set grease_g=45 --set who="A. Okafor"
    """
    from condlube.operations.check import read_register
    from condlube.operations.definition import load
    from condlube.operations.record import record as one
    from condlube.operations.record import record_file
    from condlube.store.store import Store

    if (kind is None) == (source is None):
        raise click.UsageError("give a KIND with --set, or --file")
    given = dict(field.partition("=")[::2] for field in fields)
    definition = load(site)
    store, register = Store.open(definition.store, definition.ledger), read_register(definition)
    now = datetime.now(UTC)
    made = record_file(store, register, definition.read(source), now) if source else one(
        store, register, str(kind), now, **given
    )  # fmt: skip
    click.echo(f"{len(made.new)} recorded, {len(made.known)} known before")
    for event in made.new:
        click.echo(f"  {event['event_id']}  {event['kind']}  {event['bearing_id'] or event['machine_id'] or ''}")


@main.command()
@site_argument
@click.option("--host", default="127.0.0.1", show_default=True, help="Elsewhere than loopback needs a password.")
@click.option("--port", default=8470, show_default=True)
def review(site: Path, host: str, port: int) -> None:
    """Serve the review pages."""
    from condlube.web.serve import serve

    serve(site, host, port, click.echo)


@contextmanager
def _compiling(site: Path) -> Iterator[None]:
    from condlube.operations.compiled import compiling

    with compiling(site) as remark:
        if remark:
            click.echo(f"note: {remark}", err=True)
        yield


def _run(site: Path, nights: list[date], force: bool, as_json: bool = False) -> int:
    from condlube.operations.files import json_text
    from condlube.operations.nightly import nightly as run

    gc.freeze()  # what was imported stays: no collection has to look at it again
    with progress("taking in exports") as step:
        result = run(
            site, datetime.now(UTC), nights, force,
            lambda file: step(f"{file.outcome} {file.file}"), lambda morning: step(f"night {morning.run.night}"),
        )  # fmt: skip
    click.echo(json_text(result.summary()) if as_json else result.text(width()))
    return 1 if result.failed else 0
