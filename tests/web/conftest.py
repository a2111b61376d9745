"""The decided site, and clients of its pages."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
from review_site import copy_of, fixed_clock, write_decided_site

from condlube.operations.access import Access, access_file, set_user
from condlube.operations.definition import load
from condlube.web.app import create_app

HOST = "http://127.0.0.1:8000"


@pytest.fixture(scope="session")
def decided(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site, decided once; not to be written to."""
    return write_decided_site(tmp_path_factory.mktemp("review") / "site")


@pytest.fixture(scope="session")
def reader(decided: Path) -> TestClient:
    """A client that only looks."""
    return TestClient(create_app(decided, clock=fixed_clock()), base_url=HOST, follow_redirects=False)


@pytest.fixture
def site(decided: Path, tmp_path: Path) -> Path:
    """A site of the test's own."""
    return copy_of(decided, tmp_path / "site")


@pytest.fixture
def client(site: Path) -> TestClient:
    """A client that may write to the test's own site."""
    return TestClient(create_app(site, clock=fixed_clock()), base_url=HOST, follow_redirects=False)


@pytest.fixture
def guarded(site: Path):
    """The test's own site behind credentials: makes a client for a new browser."""
    file = access_file(load(site))
    set_user(file, "ana", "correct horse battery", "analyst")
    set_user(file, "rui", "a reader's password", "reader")
    app = create_app(site, Access.load(file), fixed_clock())
    return lambda: TestClient(app, base_url="http://plant.example", follow_redirects=False)
