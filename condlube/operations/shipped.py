"""The files that come with the package: in a wheel inside it, in a checkout beside it."""

from __future__ import annotations

from pathlib import Path

from condlube.errors import CondlubeError


def shipped(name: str) -> Path:
    """The shipped folder ``name``: ``pipelines`` or ``datasets``."""
    package = Path(__file__).resolve().parents[1]
    for root in (package / "_shipped", package.parent):
        if (root / name).is_dir():
            return root / name
    raise CondlubeError(f"{name} is missing from this installation")
