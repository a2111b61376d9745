"""Small dirty exports, each with the expected outcome of every line beside it; see exports/outcome.py."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "exports"
CASES = sorted(FOLDER.glob("*.toml"))

_spec = importlib.util.spec_from_file_location("dirty_exports_outcome", FOLDER / "outcome.py")
assert _spec is not None
assert _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = _module
_spec.loader.exec_module(_module)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.stem)
def test_every_line_ends_where_it_should(case: Path) -> None:
    expected = case.with_suffix(".expected").read_text(encoding="utf-8")
    assert _module.outcome(case) == expected


def test_the_corpus_is_complete() -> None:
    assert len(CASES) >= 60
    assert {case.stem for case in CASES} == {path.stem for path in FOLDER.glob("*.expected")}
