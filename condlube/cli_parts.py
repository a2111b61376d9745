"""What the commands share: kinds of arguments, and telling how far the work is."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import click


class Night(click.ParamType[date]):
    """A site-local date."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read the text; a date given as a default passes."""
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a date; expected YYYY-MM-DD", param, ctx)


site = click.argument("site", type=click.Path(path_type=Path, exists=True), metavar="SITE")
json_flag = click.option("--json", "as_json", is_flag=True, help="Print JSON for a machine.")


@contextmanager
def progress(label: str) -> Iterator[Callable[[str], None]]:
    """A line that tells what is happening, on a terminal only."""
    if not sys.stderr.isatty():
        yield lambda text: None
        return

    def step(text: str) -> None:
        across = width() - 1
        sys.stderr.write("\r" + text[:across].ljust(across))
        sys.stderr.flush()

    step(label + " ...")
    try:
        yield step
    finally:
        step("")
        sys.stderr.write("\r")


def width() -> int:
    """Columns of the terminal; 100 where there is none."""
    return shutil.get_terminal_size((100, 24)).columns


def folded(text: str) -> str:
    """Lines that are longer than the terminal is wide go on below, two columns further in."""

    def fold(line: str) -> str:
        inner = " " * (len(line) - len(line.lstrip()) + 2)
        return textwrap.fill(line, width(), subsequent_indent=inner, break_long_words=False, break_on_hyphens=False)

    return "\n".join(line if len(line) <= width() else fold(line) for line in text.splitlines())
