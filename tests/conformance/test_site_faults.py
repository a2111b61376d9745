"""Every folder under ``sites`` is a site with something to say about it: ``why.txt`` says what it shows.

``faults.txt`` is what ``check`` answers: in every line file, line, column, value seen and value expected; a line that
ends in ... goes on with a long list. A site without ``faults.txt`` has no fault.
"""

from __future__ import annotations

import shutil
from itertools import zip_longest
from pathlib import Path

import pytest

from condlube.errors import ConfigurationError
from condlube.operations.check import check

SITES = Path(__file__).parent / "sites"


def site(case: Path, folder: Path) -> Path:
    """A copy of the case, with a plain definition where it has none of its own."""
    shutil.copytree(case, folder, dirs_exist_ok=True)
    if not (folder / "nightly.toml").exists():
        files = "\n".join(f'{path.stem} = "{path.name}"' for path in sorted(folder.glob("*.csv")))
        (folder / "nightly.toml").write_text(f'[site]\nname = "Mill"\nzone = "Europe/Lisbon"\n\n[files]\n{files}\n')
    return folder


def faults_of(folder: Path) -> list[str]:
    try:
        check(folder)
    except ConfigurationError as error:
        return [str(fault) for fault in error.faults]
    return []


@pytest.mark.parametrize("case", sorted(SITES.iterdir()), ids=lambda path: path.name)
def test_check_tells_every_fault_of_the_case(case: Path, tmp_path: Path) -> None:
    said = case / "faults.txt"
    expected = said.read_text(encoding="utf-8").splitlines() if said.exists() else []
    found = faults_of(site(case, tmp_path))
    cut = [line.removesuffix(" ...") if line.endswith(" ...") else "" for line in expected]
    pairs = zip_longest(cut, found, fillvalue="")
    shown = [f"{part} ..." if part and line.startswith(part) else line for part, line in pairs]
    assert shown == expected


@pytest.mark.parametrize("case", sorted(SITES.iterdir()), ids=lambda path: path.name)
def test_every_case_says_why_it_is_here(case: Path) -> None:
    assert (case / "why.txt").read_text(encoding="utf-8").strip()
