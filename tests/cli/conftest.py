"""The small site with one night decided, for tests of the commands."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "operations"))
from small_site import NIGHTS, NOW, write_small_site


@pytest.fixture(scope="session")
def decided(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its folder; not to be changed."""
    from condlube.operations.nightly import nightly

    folder = write_small_site(tmp_path_factory.mktemp("decided"))
    nightly(folder, NOW, NIGHTS[-1:])
    return folder
