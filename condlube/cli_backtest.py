"""``condlube backtest`` and ``condlube tune``: what past nights say about the policy."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

from condlube.cli_parts import Night, json_flag, site, width

Command = TypeVar("Command", bound=Callable[..., None])


def _span(command: Command) -> Command:
    """The nights to replay."""
    for option in (
        click.option("--every", default=1, show_default=True, type=click.IntRange(1), help="Only each Nth night."),
        click.option("--to", "last", type=Night(), required=True, help="Last night to replay."),
        click.option("--from", "first", type=Night(), required=True, help="First night to replay, a local date."),
        site,
    ):
        command = option(command)
    return command


@click.command()
@_span
@click.option(
    "--policy", "policy_file", type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Judge this policy file. Default: the policy in force.",
)  # fmt: skip
@json_flag
def backtest(site: Path, first: date, last: date, every: int, policy_file: Path | None, as_json: bool) -> None:
    """Replay past nights with what was known then, and say what the calls would have been worth.

    Writes report.html, decisions.csv, outcomes.csv and summary.json into the site's output folder. A replay that is
    broken off goes on where it was. Exit code 1: some bearings could not be decided; the report leaves them out.
    """
    from condlube.operations.backtest import backtest as run
    from condlube.operations.backtest import policy_at

    policy = None if policy_file is None else policy_at(policy_file)
    with _bars() as on_step:
        made = run(site, first, last, every, policy, on_step)
    click.echo(made.json() if as_json else made.text(width()))
    sys.exit(1 if made.failed else 0)


@click.command()
@_span
@json_flag
def tune(site: Path, first: date, last: date, every: int, as_json: bool) -> None:
    """Fit the policy to what the record tells, and propose a policy file where it may move.

    The proposal holds once the definition names it. Exit code 0 also where nothing moves: the answer says why.
    """
    from condlube.operations.tune import tune as run

    with _bars() as on_step:
        made = run(site, first, last, every, on_step)
    click.echo(made.json() if as_json else made.text(width()))


@contextmanager
def _bars() -> Iterator[Callable[[str, int, int], None]]:
    """A bar for every step of the work, on a terminal only."""
    if not sys.stderr.isatty():
        yield lambda step, done, of: None
        return
    bars: dict[str, Any] = {}

    def show(step: str, done: int, of: int) -> None:
        if step not in bars:
            for bar in bars.values():
                bar.render_finish()
            bars[step] = click.progressbar(length=of, label=f"{step:<10}", file=sys.stderr)
            bars[step].__enter__()
        bars[step].update(done - bars[step].pos)

    try:
        yield show
    finally:
        for bar in bars.values():
            bar.render_finish()
