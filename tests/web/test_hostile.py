"""What can go wrong in a morning, by accident or on purpose: each gives a clear page and nothing is lost."""

import csv
import io
import json
import shutil
import sqlite3
import threading
from datetime import timedelta

import pytest
from bs4 import BeautifulSoup
from review_site import DRY, MORNING, fixed_clock
from small_site import NIGHTS, NOW, write_small_site
from starlette.testclient import TestClient
from test_forms import fields, reviews, verdict

from condlube.operations.access import Access, access_file, set_user
from condlube.operations.check import check
from condlube.operations.definition import load
from condlube.operations.desk import Desk
from condlube.operations.ingest import ingest
from condlube.operations.nightly import nightly
from condlube.store.store import Store
from condlube.web.app import create_app

HOST = "http://127.0.0.1:8000"
NOTES = {
    "script": "<script>alert(1)</script><img src=x onerror=alert(2)>",
    "formula": '=HYPERLINK("http://evil.example","x")',
    "right to left": "\u202egnp.exe\u202c \u05d0\u05d1\u05d2",
    "long": "x" * 2000,
    "template": "{{ 7*7 }}{% raw %}",
    "quotes": "\"'`\\ </textarea></script><!--",
    "no letters": "\u200b\ufeff\u0301",
    "emoji": "\U0001f9f0" * 500,
}
PAGES = ["/queue", "/queue?standing=all", "/worklist", "/fleet", "/data", "/policy", "/backtest", f"/bearing?id={DRY}"]


def soup(response):
    return BeautifulSoup(response.text, "html.parser")


@pytest.mark.parametrize("note", NOTES.values(), ids=NOTES)
def test_any_note_is_kept_as_it_is_and_shown_as_text(client, site, note):
    assert verdict(client, verdict="agree", note=note).status_code == 303
    assert [row["note"] for row in reviews(site)] == [note]
    made = soup(client.get(f"/bearing?id={DRY}"))
    assert note.strip() in [cell.text.strip() for cell in made.select("#history ~ * td")]
    assert not made.find("img")
    assert all(script.get("src") for script in made.find_all("script"))


@pytest.mark.parametrize("field", ["note", "purge", "who", "grease_id", "finding", "supersedes", "failure_mode"])
def test_ten_thousand_characters_in_a_record_are_taken_whole_or_refused_by_field(client, site, field):
    before = len(Desk(site).store.ledger_rows("events"))
    form = fields(client.get(f"/bearing?id={DRY}"), "#record")
    answer = client.post("/record", data={**form, "who": "A. Okafor", field: "y" * 10_000})
    assert answer.status_code in (303, 422)
    new = Desk(site).store.ledger_rows("events")[before:]
    if answer.status_code == 303:
        assert new[0][field] in ("y" * 10_000, "y" * 80)
        assert client.get(f"/bearing?id={DRY}").status_code == 200
    else:
        assert soup(answer).select(".fault")
        assert new == []


def test_no_cell_of_a_work_list_runs_in_a_spreadsheet(client, site):
    texts = ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|' /C calc'!A0", "+HYPERLINK(1)", '=1+"x"']
    rows = list(csv.reader((site / "bearings.csv").read_text().splitlines()))
    for row, text in zip(rows[1:], texts, strict=True):
        row[2:5] = [text] * 3
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    (site / "bearings.csv").write_text(out.getvalue())
    (result,) = nightly(site, NOW + timedelta(hours=1), [NIGHTS[-1]], force=True).mornings
    cells = []
    for kind in ("grease", "inspect"):
        got = csv.reader(io.StringIO(client.get("/worklist.csv", params={"kind": kind}).text.lstrip("\ufeff")))
        cells += [cell for row in got for cell in row]
    for name in ("worklist.csv", "inspections.csv", "decisions.csv", "evidence.csv"):
        cells += [cell for row in csv.reader(io.StringIO((result.folder / name).read_text())) for cell in row]
    assert any(cell.startswith("'") for cell in cells)
    running = [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r")) and not is_number(cell)]
    assert running == []


def is_number(cell):
    """Whether a spreadsheet reads a number."""
    try:
        float(cell)
    except ValueError:
        return False
    return cell not in ("+1", "-1")


@pytest.mark.parametrize("path", [
    "/backtest/report?name=../../nightly.toml", "/backtest/report?name=/etc/passwd", "/backtest/report?name=.",
    "/policy?name=..%2f..%2fnightly.toml", "/data/rejected?ingest=../../x", "/bearing?id=../../../etc/passwd",
    "/static/..%5c..%5capp.py", "/static//etc/passwd", "/worklist.csv?night=..%2f..", "/../../etc/passwd",
    "/backtest/report?name=%00", "/queue?night=9999-12-31", "/queue?night=0001-01-01", "/api/bearing?id=%ff%fe",
])  # fmt: skip
def test_path_tricks_reach_nothing(reader, path):
    answer = reader.get(path)
    assert answer.status_code in (404, 422)
    assert "root:" not in answer.text
    assert "[site]" not in answer.text
    assert "Traceback" not in answer.text


def test_a_stale_form_is_refused_and_says_what_to_do(client, site):
    form = fields(client.get(f"/bearing?id={DRY}"), "#verdict")
    client.cookies.clear()
    answer = client.post("/verdict", data={**form, "who": "Ana", "verdict": "agree"})
    assert answer.status_code == 403
    assert "load the page again" in answer.text
    assert reviews(site) == []


def test_an_expired_session_leads_to_the_login_and_back_to_the_queue(site):
    file = access_file(load(site))
    set_user(file, "ana", "correct horse battery", "analyst")
    times = [MORNING]
    app = create_app(site, Access.load(file), lambda: times[-1])
    client = TestClient(app, base_url="http://plant.example", follow_redirects=False)
    client.post("/login", data={"name": "ana", "password": "correct horse battery", "next": "/queue"})
    form = fields(client.get(f"/bearing?id={DRY}"), "#verdict")
    times.append(MORNING + timedelta(hours=13))
    answer = client.post("/verdict", data={**form, "verdict": "agree"})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/login?next=%2Fqueue")
    assert client.post("/api/reviews", json={}).status_code == 401
    assert reviews(site) == []


def test_a_night_that_was_decided_again_meanwhile_is_not_judged_unseen(client, site):
    page = client.get(f"/bearing?id={DRY}")
    form = fields(page, "#verdict")
    client.post("/record", data={**fields(page, "#record"), "who": "Ana", "grease_g": "20", "time": "2026-06-03T10:00"})
    nightly(site, NOW + timedelta(hours=1), [NIGHTS[-1]])
    assert Desk(site).sight().run["run_id"] != form["run_id"]
    answer = client.post("/verdict", data={**form, "who": "Ana", "verdict": "agree", "note": "as read"})
    assert answer.status_code == 422
    assert "it was decided again" in answer.text
    assert "as read" in answer.text
    assert reviews(site) == []


def test_pages_answer_while_the_nightly_writes(client, site):
    wrong, stop = [], threading.Event()

    def look():
        while not stop.is_set():
            for path in ("/queue", f"/bearing?id={DRY}", "/worklist", "/data"):
                if (answer := client.get(path)).status_code != 200:
                    wrong.append((path, answer.status_code, answer.text[:200]))

    reader = threading.Thread(target=look)
    reader.start()
    try:
        nightly(site, NOW + timedelta(days=1), [NIGHTS[-1] + timedelta(days=1)])
    finally:
        stop.set()
        reader.join()
    assert wrong == []
    assert Desk(site).sight().night == NIGHTS[-1] + timedelta(days=1)
    assert f"{NIGHTS[-1].day + 1} " in soup(client.get("/queue")).select_one(".night").text


def test_a_verdict_and_a_record_go_through_while_the_nightly_holds_the_store(client, site):
    store = Store.open(load(site).store)
    with store.writer():
        assert verdict(client, verdict="agree").status_code == 303
        form = fields(client.get(f"/bearing?id={DRY}"), "#record")
        assert client.post("/record", data={**form, "who": "A. Okafor", "grease_g": "20"}).status_code == 303
    assert len(reviews(site)) == 1


def test_a_locked_ledger_is_told_and_what_was_entered_stays(client, site, monkeypatch):
    monkeypatch.setattr("condlube.store.engine.WAIT_S", 0.2)
    page = client.get(f"/bearing?id={DRY}")
    sent = {**fields(page, "#verdict"), "who": "Ana", "verdict": "agree", "note": "kept in the form"}
    work = {**fields(page, "#record"), "who": "Ana", "grease_g": "21.5", "note": "kept in the form"}
    ticked = {**fields(client.get("/queue"), "form[action='/agree']"), "who": "Ana", "bearing_id": DRY}
    with sqlite3.connect(load(site).store / "ledger.sqlite", isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        answers = [client.post(path, data=form) for path, form in (("/verdict", sent), ("/record", work))]
        several = client.post("/agree", data=ticked)
        other.execute("ROLLBACK")
    for answer in answers:
        assert answer.status_code == 503
        assert "Nothing was recorded" in answer.text
        assert "kept in the form" in [area.text for area in soup(answer).select("textarea")]
    assert several.status_code == 503
    assert reviews(site) == []
    assert client.post("/verdict", data=fields(answers[0], "#verdict") | {"who": "Ana"}).status_code == 303
    assert [row["note"] for row in reviews(site)] == ["kept in the form"]


@pytest.fixture(scope="module", params=["no store", "readings and no night"])
def undecided(request, tmp_path_factory):
    """Clients of a site before its first night."""
    site = write_small_site(tmp_path_factory.mktemp("undecided") / "site", days=2)
    if request.param != "no store":
        checked = check(site)
        with Store.open(checked.definition.store).writer() as writer:
            ingest(checked.definition, checked.register, writer, NOW)
    return TestClient(create_app(site, clock=fixed_clock()), base_url=HOST, follow_redirects=False)


@pytest.mark.parametrize("path", [*PAGES, "/worklist.csv"])
def test_before_the_first_night_every_page_says_so(undecided, path):
    answer = undecided.get(path)
    assert answer.status_code == 404
    assert "no night was decided yet" in answer.text.lower()
    assert "condlube nightly" in answer.text
    assert undecided.get("/api").status_code == 200


def test_a_folder_that_cannot_be_written_is_no_fault_of_the_server(client, site):
    (site / "policies").write_text("a file where a folder should be")
    form = fields(client.get("/policy?name=default"), "form[action='/policy/approve']")
    answer = client.post("/policy/approve", data={**form, "who": "Ana", "reason": "tried"})
    assert answer.status_code == 503
    assert "cannot be used" in answer.text


@pytest.mark.parametrize("path", [*PAGES, "/worklist.csv"])
def test_a_store_that_went_away_is_no_fault_of_the_server(client, site, path):
    client.get("/queue")
    shutil.rmtree(site / "store")
    answer = client.get(path)
    assert answer.status_code in (200, 404, 503)
    assert "Traceback" not in answer.text


def test_a_broken_summary_of_a_backtest_does_not_hide_its_report(client, site):
    folder = load(site).output / "backtest-2026-06-01-2026-06-04"
    folder.mkdir(parents=True)
    (folder / "report.html").write_text("<title>t</title><script>alert(1)</script><p>whole report</p>")
    for text in ("{", "[]", json.dumps({"scores": {}})):
        (folder / "summary.json").write_text(text)
        page = client.get("/backtest")
        assert page.status_code == 200, text
        assert "Its figures cannot be read" in page.text
    score = {"unit": "share", "value": 0.5, "low": 0.25, "high": None}
    whole = {"first": "2026-06-01", "last": "2026-06-04", "nights": 4, "bearings": 6, "bearing_years": 0.07,
             "policy": "d" * 64, "scores": {"policy": {"caught": score}, "time only": {"caught": score}}}  # fmt: skip
    (folder / "summary.json").write_text(json.dumps(whole))
    page = client.get("/backtest")
    assert [cell.text.strip() for cell in soup(page).select("tbody td")] == ["0.50", "0.50"]
    link = soup(page).select_one("main a[href^='/backtest/report']")["href"]
    report = client.get(link)
    assert "whole report" in report.text
    policy = report.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "sandbox" in policy
    assert "script-src" not in policy
