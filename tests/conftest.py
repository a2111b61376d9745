"""What every test shares: compiled code kept from run to run, no deadlines in Hypothesis, no skips where CI says so."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

os.environ.setdefault("NUMBA_CACHE_DIR", str(Path(__file__).parents[1] / ".compiled"))
settings.register_profile("condlube", deadline=None)
settings.load_profile("condlube")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and os.environ.get("CONDLUBE_NO_SKIPS") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped where skips are forbidden: {call.excinfo}"
    return report
