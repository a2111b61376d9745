"""The night in one file: written by the nightly run, the same each time, harmless, bounded."""

import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from small_site import NIGHTS

from condlube.explain.cautions import GENERAL
from condlube.explain.report import MOST_TEXT, MOST_TOLD, MOST_WORK, Flagged, Night, report
from condlube.operations.desk import Desk
from condlube.operations.report import FILE_NAME, static_report
from condlube.schema.words import ACTIONS, STATES

MOST_BYTES = 4_000_000
"""What the page promises: a mail of a few megabytes at most, however large the plant."""


@pytest.fixture(scope="module")
def page(small_site):
    _, result = small_site
    return (result.mornings[-1].folder / FILE_NAME).read_text(encoding="utf-8")


def test_the_last_night_leaves_its_report(small_site, page):
    folder, _ = small_site
    assert page == static_report(Desk(folder), NIGHTS[-1])
    assert "M1-DE" in page
    assert "Inspect the" in page or "Grease" in page


def test_nothing_runs_and_nothing_is_fetched(page):
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert not re.search(r"\b(src|href)=\"(?!#)", page)


def test_it_needs_nothing_of_the_web_extra():
    code = (
        "import sys\nfor name in ('jinja2', 'markupsafe', 'fastapi', 'uvicorn', 'plotly'): sys.modules[name] = None\n"
        "import condlube.operations.nightly"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def flagged(k, text):
    bearing = {"bearing_id": f"B{k}", "position": text, "machine_id": text, "area": text, "route": text}
    probable = {f"p_{s}": 1 / 7 for s in STATES}
    decision = {
        "bearing_id": f"B{k}", "call": "inspect", "cost_call": "inspect", "second_action": "", "guards": "",
        "look_at": "bearing", "reason": "damaged ultrasound", "basis": "cost", "x": 0.5, "due_date": date(2026, 6, 9),
        "due_late": date(2026, 6, 9), "grease_g": 20.0, **probable, **{f"cost_{a}": 1.0 for a in ACTIONS},
    }  # fmt: skip
    row = {"source": "ultrasound", "status": "assessed", "deviation": 12.0, "reason": text,
           **{f"bits_{s}": 1.0 for s in STATES[1:]}}  # fmt: skip
    bars = [(f"source {n}", 1.0, n + 1.0) for n in range(12)]
    return Flagged(bearing, [text] * 40, decision, [row], text, None, "damaged", True, bars, [], "ultrasound",
                   [1.0, 2.0] * 15, "lasting")  # fmt: skip


def work(k, text):
    return {"bearing_id": f"B{k}", "position": text, "machine_id": text, "area": text, "route": text, "permit": text,
            "task": "grease", "grease_g": 20.0, "grease_id": text, "strokes": 3, "when": "by 9 Jun 2026",
            "how": text,
            "shots": 3, "hazards": [text], "look_at": "bearing", "look_for": text}  # fmt: skip


def large(text):
    most = [flagged(k, text) for k in range(MOST_TOLD)]
    rows = [work(k, text) for k in range(2_000)]
    return Night("Large", "UTC", date(2026, 6, 2), "run", datetime(2026, 6, 3, tzinfo=UTC), "d" * 64,
                 {"inspect": 9_000}, 9_000, most, rows, rows, ["line"])  # fmt: skip


def test_a_large_plant_with_long_texts_stays_mailable():
    page = report(large("x" * 5_000))
    assert len(page.encode()) < MOST_BYTES
    assert f"told are the first {MOST_TOLD}" in page
    assert f"And {2_000 - MOST_WORK} more, in worklist.csv" in page
    assert "x" * (MOST_TEXT + 1) not in page


def test_hostile_texts_are_texts():
    page = report(large("<script>alert(1)</script>\"'"))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_a_quiet_night_says_so():
    page = report(replace(large(""), found=0, flagged=[], work=[], inspections=[]))
    assert "Nothing is flagged: all 9000 bearings are left alone." in page
    assert page.count("<p>Nothing.</p>") == 2


def test_new_matters_stand_before_lasting_ones_under_their_own_heading():
    matters = [replace(flagged(1, "a"), group="new"), flagged(2, "b")]
    page = report(replace(large(""), flagged=matters))
    assert page.index("New tonight (1)") < page.index("B1") < page.index("Lasting (1)") < page.index("B2")
    assert "Changed tonight" not in page


def test_cautions_are_told_whole():
    hazards = ["x" * (MOST_TEXT - 10), "Stop at back-pressure; do not force grease in."]
    page = report(replace(large(""), work=[work(1, "") | {"hazards": hazards}]))
    assert hazards[1] in page
    assert page.count(GENERAL[1]) == 1


def test_the_policy_that_decided_is_named(page, small_site):
    folder, _ = small_site
    assert f"Policy {Desk(folder).sight(NIGHTS[-1]).run['policy_digest'][:12]}." in page
