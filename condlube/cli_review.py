"""``condlube access`` and ``condlube policy``: who may open the review pages, and what another policy would call."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import click

from condlube.cli_parts import Night, json_flag, width
from condlube.cli_parts import site as site_argument


@click.command()
@site_argument
@click.argument("name", required=False)
@click.option("--role", type=click.Choice(["reader", "analyst"]), help="A reader looks; an analyst also judges.")
@click.option("--remove", is_flag=True, help="Take NAME out.")
def access(site: Path, name: str | None, role: str | None, remove: bool) -> None:
    """Give NAME a password and a role, or change them; without NAME, list who has access.

    The password is asked for twice on a terminal, else read from one line of standard input. It is stored as a hash in
    access.json beside the definition, readable by its owner alone. A running server sees changes when it is restarted.
    """
    from condlube.operations.access import Access, access_file, remove_user, set_user
    from condlube.operations.definition import load

    file = access_file(load(site))
    if name is None:
        if remove or role:
            raise click.UsageError("give a NAME")
        users = Access.load(file).users
        click.echo("\n".join(f"{u.role:<8} {u.name}" for u in users) or "nobody: the pages stay on this machine")
        return
    if remove:
        remove_user(file, name)
        click.echo(f"{name} has no access any more; restart a running server")
        return
    held = next((u.role for u in Access.load(file).users if u.name == name), None)
    set_user(file, name, _password(name), role or held or "reader")
    click.echo(f"{name} is {role or held or 'reader'}")


def _password(name: str) -> str:
    if sys.stdin.isatty():
        asked: str = click.prompt(f"Password of {name}", hide_input=True, confirmation_prompt=True)
        return asked
    return sys.stdin.readline().removesuffix("\n").removesuffix("\r")


@click.group()
def policy() -> None:
    """Policies side by side."""


@policy.command()
@click.argument("before", metavar="A")
@click.argument("after", metavar="B")
@site_argument
@click.option("--night", type=Night(), help="Default: the last night decided.")
@json_flag
def diff(before: str, after: str, site: Path, night: date | None, as_json: bool) -> None:
    """List the calls of a night that B would make otherwise than A, and why.

    A and B are files, names in the site's folder policies/, digests of earlier runs, or the words in_force and default.
    Nothing is written.
    """
    from condlube.operations.policy_diff import policy_diff

    made = policy_diff(site, before, after, night)
    click.echo(made.json() if as_json else made.text(width()))
