"""Every page of the site, as a browser without script gets it."""

import csv
import io
import re
from datetime import date, timedelta
from math import log2

import pytest
from bs4 import BeautifulSoup
from review_site import DRY, FORMULA, HOSTILE, LAST, OVERDUE, SCRIPT, fixed_clock
from small_site import NOW
from starlette.testclient import TestClient

from condlube.operations import worklist
from condlube.operations.desk import Desk, evidence_of
from condlube.operations.nightly import nightly
from condlube.operations.queue import queue_lines
from condlube.web.app import create_app
from condlube.web.guard import POLICY
from condlube.web.pages import alike, called
from condlube.web.render import chance
from condlube.web.telling import SECTIONS

PAGES = [
    "/queue", "/queue?standing=all", f"/bearing?id={DRY}", f"/bearing?id={HOSTILE}", "/bearing?id=M3-DE", "/worklist",
    "/fleet", "/data", "/policy", "/policy?name=default&against=in_force&trial=yes", "/backtest", "/api", "/login",
]  # fmt: skip


def soup(response):
    return BeautifulSoup(response.text, "html.parser")


@pytest.mark.parametrize("page", PAGES)
def test_pages_are_whole_without_script_and_ask_for_nothing_elsewhere(reader, page):
    response = reader.get(page)
    assert response.status_code == 200
    assert response.headers["content-security-policy"] == POLICY
    assert len(response.content) < 300_000
    made = soup(response)
    assert made.find("h1") is not None
    for tag in made.find_all(["script", "link", "img", "a", "form"]):
        address = tag.get("src") or tag.get("href") or tag.get("action") or "#"
        assert re.match(r"(/(?!/)|#)", address), address
    attributes = {name for tag in made.find_all(True) for name in tag.attrs}
    assert not [name for name in attributes if name == "style" or name.startswith("on")]
    assert all(script.get("src") for script in made.find_all("script"))


@pytest.mark.parametrize("page", PAGES)
def test_every_field_has_a_label(reader, page):
    made = soup(reader.get(page))
    labelled = {label.get("for") for label in made.find_all("label")}
    for field in made.find_all(["input", "select", "textarea"]):
        if field.get("type") != "hidden":
            assert field.get("id") in labelled or field.get("aria-label") or field.find_parent("label"), field


def test_the_queue_tells_the_dry_bearing_with_its_trend_and_the_one_that_is_due_by_time(reader):
    rows = soup(reader.get("/queue")).select("table.queue tbody tr:not(.group)")
    names = [row.find("th").find("a").text for row in rows]
    assert DRY in names
    dry = rows[names.index(DRY)]
    assert dry.select_one(".call").text in ("grease", "inspect")
    assert dry.select_one("svg.spark polyline")
    assert rows[names.index(OVERDUE)].select_one(".call").text == "grease"


def test_filters_are_in_the_address_and_narrow_the_queue(reader):
    made = soup(reader.get("/queue", params={"area": "Hall A", "standing": "all"}))
    names = [row.find("th").find("a").text for row in made.select("table.queue tbody tr:not(.group)")]
    assert sorted(names) == ["M1-DE", "M1-NDE"]
    assert made.select_one("#f-area option[selected]")["value"] == "Hall A"
    nothing = reader.get("/queue", params={"text": "no such bearing"})
    assert "Nothing here with these filters" in nothing.text


def test_the_waterfall_adds_up_to_the_stored_odds(reader, decided):
    decision = Desk(decided).sight().decisions[DRY]
    page = reader.get(f"/bearing?id={DRY}&state=starved").text
    total = soup(reader.get(f"/bearing?id={DRY}&state=starved")).select("svg.waterfall text.figure.sum")[0].text
    assert float(total) == pytest.approx(log2(decision["p_starved"] / decision["p_adequate"]), abs=0.005)
    assert f"The rows add up to {total.removeprefix('+')}" in page


def test_hostile_texts_of_the_register_are_shown_and_not_run(reader):
    for page in ("/queue?standing=all", f"/bearing?id={HOSTILE}", "/fleet", "/worklist"):
        made = soup(reader.get(page))
        assert not made.find("img")
        assert SCRIPT not in reader.get(page).text
    assert SCRIPT in soup(reader.get("/fleet")).text


def test_exported_cells_are_no_formulas(reader):
    for kind in ("grease", "inspect"):
        response = reader.get("/worklist.csv", params={"kind": kind})
        assert "attachment" in response.headers["content-disposition"]
        rows = list(csv.DictReader(io.StringIO(response.text.lstrip("\ufeff"))))
        cells = [cell for row in rows for cell in row.values()]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
        if kind == "inspect":
            assert {row["route"] for row in rows if row["bearing_id"] == HOSTILE} == {"'" + FORMULA}


def test_the_work_list_names_grease_dose_cautions_and_room_for_readings(reader, decided):
    decision = Desk(decided).sight().decisions[OVERDUE]
    jobs = soup(reader.get("/worklist?route=R3")).select("article.job")
    (job,) = [job for job in jobs if job.find("h4").find("a").text == OVERDUE]
    assert f"{decision['grease_g']:.1f} g" in job.text
    assert f"{decision['strokes']} strokes" in job.text
    assert {blank.text for blank in job.select("dl.blanks dt")} >= {"grams given", "level before", "level after"}
    assert "Wipe fitting and coupler clean" in job.select_one(".hazards").text
    assert "A grease gun can inject through skin" in soup(reader.get("/worklist?route=R3")).select_one(".general").text


def test_an_earlier_night_stays_in_every_link(reader):
    first = reader.get("/queue?night=2026-06-02")
    assert "not the newest" in first.text
    links = [a["href"] for a in soup(first).select("nav a")]
    assert all("night=2026-06-02" in link for link in links)


@pytest.mark.parametrize(("page", "status"), [
    ("/bearing?id=nothing", 404), ("/queue?night=1999-01-01", 404), ("/queue?night=yesterday", 422),
    ("/queue?page=0", 422),
    ("/queue?page=999", 200), ("/bearing", 422), ("/data/rejected?ingest=x", 404), ("/policy?name=../../etc", 404),
    ("/static/../app.py", 404), ("/static/%2e%2e/app.py", 404), ("/static/..%2f..%2fapp.py", 404), ("/nothing", 404),
    ("/bearing?id=%00", 404), ("/queue?text=%ff", 200),
])  # fmt: skip
def test_what_is_not_there_is_said_plainly(reader, page, status):
    response = reader.get(page)
    assert response.status_code == status
    if status != 200:
        assert "Traceback" not in response.text


def test_rejected_lines_can_be_followed_to_the_file(reader):
    made = soup(reader.get("/data"))
    links = [a["href"] for a in made.select("td a") if a["href"].startswith("/data/rejected")]
    tag = next(link for link in links if "text=UNKNOWN.TAG" in link)
    assert {row.select_one("code").text.split(",")[1] for row in soup(reader.get(tag)).select("tbody tr")} == {
        "UNKNOWN.TAG"
    }
    of_reason = next(link for link in links if "reason=unknown_tag" in link and "text=" not in link)
    page = soup(reader.get(of_reason))
    assert "no measuring point has this tag" in page.text
    assert {row.select("td")[1].text for row in page.select("tbody tr")} == {"unknown tag"}
    of_file = next(link for link in links if "reason=" not in link)
    assert len(soup(reader.get(of_file)).select("tbody tr")) > len(page.select("tbody tr"))
    assert "No such line" in reader.get(f"{of_file}&text=nothing+like+it").text


def test_the_night_of_the_page_is_the_night_of_the_store(reader, decided):
    assert Desk(decided).sight().night == LAST
    assert f"{LAST.day} {LAST:%b %Y}" in reader.get("/queue").text


def test_a_call_that_stood_for_many_nights_is_one_mark_and_one_row():
    nights = [date(2026, 1, 1) + timedelta(days=k) for k in range(60)]
    calls = ["hold"] * 20 + ["grease"] * 30 + [None] + ["hold"] * 9
    decisions = [
        {"night": n, "call": c, "reason": c, "condition_status": "ok"} for n, c in zip(nights, calls, strict=True)
    ]
    marks = called(decisions)
    assert [(m.kind, m.at, m.until) for m in marks] == [
        ("grease", nights[20], nights[49]), ("failed", nights[50], nights[50])
    ]  # fmt: skip
    assert [(first, row["night"]) for first, row in alike(decisions)] == [
        (nights[51], nights[59]), (nights[50], nights[50]), (nights[20], nights[49]), (nights[0], nights[19])
    ]  # fmt: skip


@pytest.mark.parametrize(("value", "shown"), [
    (None, ""), (0.0, "under 0.1 %"), (0.0004, "under 0.1 %"), (0.0006, "0.1 %"), (0.0149, "1.5 %"), (0.0994, "9.9 %"),
    (0.0996, "10 %"), (0.404, "40 %"), (0.994, "99 %"), (0.9951, "over 99 %"), (1.0, "over 99 %"),
])  # fmt: skip
def test_a_probability_is_never_rounded_to_certainty(value, shown):
    assert chance(value) == shown


def test_columns_are_named_with_their_unit_once(reader):
    made = soup(reader.get(f"/bearing?id={DRY}"))
    named = {div.find("dt").text: div.find("dd").text for div in made.select("dl.register div")}
    assert named["speed, r/min"] == "1480"
    assert named["gun g per stroke"] == "1.3"
    assert named["bore, mm"] == "80"
    assert named["hazardous area"].startswith("no")
    assert named["bearing type"] == "deep groove ball"


def test_every_key_of_the_policy_is_shown_with_its_meaning(reader):
    made = soup(reader.get("/policy"))
    assert {s.find("b").text for s in made.select("details summary")} == set(SECTIONS)
    row = next(row for row in made.select("tbody tr") if row.find("th").text == "shot_wait_min")
    assert [cell.text for cell in row.select("td")] == ["1", "between shots"]


def test_another_night_of_the_same_bearing_is_one_choice_away(reader):
    form = soup(reader.get(f"/bearing?id={DRY}")).select_one("form.nights")
    assert (form["action"], form.find("input")["value"]) == ("/bearing", DRY)
    earlier = reader.get("/bearing", params={"id": DRY, "night": "2026-06-02"})
    assert "not the newest" in earlier.text
    assert soup(earlier).find("h1").text.startswith(DRY)


def test_a_bearing_whose_points_have_no_reading_says_so(site):
    points = (site / "points.csv").read_text()
    (site / "points.csv").write_text(f"{points}M5-DE.velocity,M5-DE,M5.VELOCITY,velocity,mm/s rms,C1\n")
    nightly(site, NOW + timedelta(hours=1), [LAST])
    client = TestClient(create_app(site, clock=fixed_clock()), base_url="http://127.0.0.1")
    assert "No reading of its 1 measuring point has been taken in" in client.get(f"/bearing?id={OVERDUE}").text


def test_a_policy_that_a_tuning_proposed_can_be_looked_at(site):
    folder = Desk(site).definition.output
    text = 'base = "default"\n[policy]\nauthor = "condlube tune"\nreason = "more data"\n[dose]\nshots = 4\n'
    (folder / "policy-proposed-2026-06-04.toml").write_text(text)
    client = TestClient(create_app(site, clock=fixed_clock()), base_url="http://127.0.0.1")
    page = client.get("/policy", params={"name": "policy-proposed-2026-06-04.toml", "against": "in_force"})
    rows = {row.find("th").text: [cell.text for cell in row.find_all("td")] for row in soup(page).select("tbody tr")}
    assert rows["dose.shots"][:2] == ["3", "4"]
    assert rows["dose.shots"][2].startswith("shots of a dose")


def test_a_work_list_says_since_when_a_matter_stands(reader, decided):
    """With bearing and task it is the key by which a maintenance system knows yesterday's order again."""
    lines = {line.bearing_id: line for line in queue_lines(Desk(decided).sight())}
    for kind in ("grease", "inspect"):
        served = list(csv.DictReader(reader.get("/worklist.csv", params={"kind": kind}).text[1:].splitlines()))
        assert served
        for row in served:
            if not row["task" if kind == "grease" else "look_at"].startswith("falls due"):
                assert row["since"] == lines[row["bearing_id"]].first_night.isoformat()
    assert lines[OVERDUE].first_night < LAST
    assert "called since" in soup(reader.get("/worklist?route=R3")).select_one("article.job .dose").text
    written = (Desk(decided).definition.output / LAST.isoformat() / "worklist.csv").read_text("utf-8-sig")
    (own,) = [row for row in csv.DictReader(written.splitlines()) if row["bearing_id"] == OVERDUE]
    assert own["since"] == lines[OVERDUE].first_night.isoformat()


def test_a_route_builds_its_own_work_alone(reader, decided, monkeypatch):
    asked = []
    monkeypatch.setattr(worklist, "evidence_of", lambda sight, names: asked.extend(names) or evidence_of(sight, names))
    whole = soup(reader.get("/worklist"))
    everything = len(asked)
    one = soup(reader.get("/worklist?route=R3"))
    assert asked[everything:] == [OVERDUE]
    assert [o.text for o in one.select("#route option")] == [o.text for o in whole.select("#route option")]
    assert len(one.select("section.route")) == 1
    assert [r["bearing_id"] for r in reader.get("/api/worklist?route=R3").json()["grease"]] == [OVERDUE]
