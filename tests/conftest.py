"""What every test shares: no clock-dependent Hypothesis deadlines, and no skips where CI forbids them."""

import os

import pytest
from hypothesis import settings

settings.register_profile("condlube", deadline=None)
settings.load_profile("condlube")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.skipped and os.environ.get("CONDLUBE_NO_SKIPS") and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped where skips are forbidden: {call.excinfo}"
    return report
