"""Sites that were run once for all tests of the operations."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from condlube.operations.demo import demo_nights, lay_site, write_history
from condlube.operations.nightly import Nightly, nightly
from condlube.schema.nights import nights_between

sys.path.insert(0, str(Path(__file__).parent))
from small_site import NIGHTS, NOW, write_small_site

MINUTE_OF_THE_RUN = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> Nightly:
    """The demo plant, written and run through its nights once for all tests."""
    folder = tmp_path_factory.mktemp("demo-run") / "plant"
    lay_site(folder)
    write_history(folder)
    return nightly(folder, MINUTE_OF_THE_RUN, nights_between(*demo_nights()))


@pytest.fixture(scope="session")
def small_site(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Nightly]:
    """The small site with three nights decided: its folder and what the batch returned."""
    folder = write_small_site(tmp_path_factory.mktemp("site"))
    return folder, nightly(folder, NOW, NIGHTS)


@pytest.fixture
def fresh_site(tmp_path: Path) -> Path:
    """The small site, nothing run."""
    return write_small_site(tmp_path)
