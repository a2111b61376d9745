"""A server of the decided site, and a real browser before it: Debian's chromium."""

from __future__ import annotations

import shutil
import socket
import sys
import threading
import time
from pathlib import Path

import pytest
import uvicorn

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
from review_site import fixed_clock, write_decided_site

from condlube.web.app import create_app

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SIZES = {"desk": (1440, 900), "tablet": (820, 1180)}


@pytest.fixture(scope="session")
def site(tmp_path_factory):
    """The decided site."""
    return write_decided_site(tmp_path_factory.mktemp("browser") / "site")


@pytest.fixture(scope="session")
def server(site):
    """Address of the pages."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    app = create_app(site, clock=fixed_clock())
    held = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=held.run, daemon=True)
    thread.start()
    while not held.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    held.should_exit = True
    thread.join(timeout=10)


@pytest.fixture(scope="session")
def chromium():
    """The browser; skipped on a machine that has none."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(params=SIZES)
def page(request, chromium, server):
    """A page of one size; at the end nothing may have failed in it or been asked for elsewhere."""
    width, height = SIZES[request.param]
    context = chromium.new_context(viewport={"width": width, "height": height}, base_url=server)
    opened = context.new_page()
    opened.set_default_timeout(60_000)
    wrong = []
    opened.on(
        "console", lambda said: wrong.append(said.text) if said.type == "error" and "404" not in said.text else None
    )
    opened.on("pageerror", lambda error: wrong.append(str(error)))
    opened.on("request", lambda asked: wrong.append(asked.url) if not asked.url.startswith(server) else None)
    yield opened
    context.close()
    assert wrong == []


def _is_wrong(said):
    """Whether a message of the console tells of a fault; that a page is not there does not."""
    return said.type == "error" and "status of 404" not in said.text
