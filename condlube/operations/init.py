"""A starter site: the shipped definitions and a small register to replace with one's own."""

from __future__ import annotations

import shutil
from pathlib import Path

from condlube.errors import CondlubeError
from condlube.operations.shipped import shipped

EXPORTS = "exports"


def init(folder: Path) -> list[Path]:
    """Write the starter site into ``folder``, made if need be, and return the files written.

    Raises ``CondlubeError``, with nothing written, when one of the files is already there.
    """
    source = shipped("pipelines")
    names = sorted(path.relative_to(source) for path in source.rglob("*") if path.suffix in (".toml", ".csv"))
    if not folder.is_dir() and folder.exists():
        raise CondlubeError(f"{folder} is a file, not a folder")
    if taken := [name.as_posix() for name in names if (folder / name).exists()]:
        raise CondlubeError(f"{folder} already holds {', '.join(taken)}: nothing was written")
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source / name, folder / name)
    (folder / EXPORTS).mkdir(exist_ok=True)
    return [folder / name for name in names]
