"""Verdicts and records: appended, seen by the next night, never lost, never sent from elsewhere."""

import threading
from datetime import date, timedelta

import pytest
from bs4 import BeautifulSoup
from review_site import DRY, LAST, MORNING, fixed_clock
from small_site import NOW
from starlette.testclient import TestClient

from condlube.operations.desk import Desk
from condlube.operations.nightly import nightly
from condlube.web.app import create_app


def fields(response, form):
    """What a browser would send from a form of the page."""
    made = BeautifulSoup(response.text, "html.parser").select_one(form)
    sent = {}
    for tag in made.find_all(["input", "textarea", "select"]):
        if tag.name == "select":
            chosen = tag.find("option", selected=True) or tag.find("option")
            sent[tag["name"]] = chosen.get("value", chosen.text)
        elif tag.get("type") not in ("radio", "checkbox") or tag.has_attr("checked"):
            sent[tag["name"]] = tag.get("value", tag.text)
    return sent


def verdict(client, who="Ines Prado", **said):
    page = client.get(f"/bearing?id={DRY}")
    return client.post("/verdict", data={**fields(page, "#verdict"), "who": who, **said})


def reviews(site):
    return Desk(site).store.ledger_rows("reviews")


def test_a_verdict_is_recorded_with_who_and_when(client, site):
    response = verdict(client, verdict="change", call="inspect", reason="seen_on_site", note="<b>oil leak</b>")
    assert response.status_code == 303
    (row,) = reviews(site)
    assert (row["who"], row["time"], row["verdict"], row["call"], row["night"], row["bearing_id"]) == (
        "Ines Prado", MORNING, "change", "inspect", LAST, DRY
    )  # fmt: skip
    page = client.get(response.headers["location"])
    assert "&lt;b&gt;oil leak&lt;/b&gt;" in page.text
    assert "change to inspect" in page.text


def test_verdicts_form_a_chain(client, site):
    verdict(client, verdict="agree")
    verdict(client, verdict="defer", defer_until="2026-06-20", reason="work_planned")
    first, second = reviews(site)
    assert first["last_review_seen"] is None
    assert second["last_review_seen"] == first["review_id"]


def test_the_second_of_two_analysts_is_told_and_can_send_again(site):
    app = create_app(site, clock=fixed_clock())
    ana, rui = (TestClient(app, base_url="http://localhost", follow_redirects=False) for _ in range(2))
    forms = [fields(browser.get(f"/bearing?id={DRY}"), "#verdict") for browser in (ana, rui)]
    ana.post("/verdict", data={**forms[0], "who": "Ana", "verdict": "agree"})
    late = rui.post("/verdict", data={**forms[1], "who": "Rui", "verdict": "change", "call": "hold",
                                      "reason": "other", "note": "seal was changed"})  # fmt: skip
    assert late.status_code == 409
    assert "Ana gave a verdict" in late.text
    assert "seal was changed" in late.text
    assert len(reviews(site)) == 1
    again = rui.post("/verdict", data={**fields(late, "#verdict"), "who": "Rui"})
    assert again.status_code == 303
    assert [(r["who"], r["verdict"]) for r in reviews(site)] == [("Ana", "agree"), ("Rui", "change")]


def test_of_many_at_once_one_wins_and_the_others_are_told(site):
    app = create_app(site, clock=fixed_clock())
    browsers = [TestClient(app, base_url="http://localhost", follow_redirects=False) for _ in range(6)]
    forms = [fields(browser.get(f"/bearing?id={DRY}"), "#verdict") for browser in browsers]
    answers = [None] * len(browsers)

    def send(k):
        sent = {**forms[k], "who": f"Analyst {k}", "verdict": "agree"}
        answers[k] = browsers[k].post("/verdict", data=sent).status_code

    threads = [threading.Thread(target=send, args=(k,)) for k in range(len(browsers))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [303] + [409] * 5
    assert len(reviews(site)) == 1


def test_the_same_form_sent_twice_is_one_verdict(client, site):
    form = {**fields(client.get(f"/bearing?id={DRY}"), "#verdict"), "who": "Ana", "verdict": "agree"}
    assert [client.post("/verdict", data=form).status_code for _ in range(2)] == [303, 303]
    assert len(reviews(site)) == 1


@pytest.mark.parametrize(("said", "field"), [
    ({"verdict": "change", "call": "oil it", "reason": "other"}, "call"),
    ({"verdict": "change", "call": "hold", "reason": ""}, "reason"),
    ({"verdict": "defer", "defer_until": "2026-06-01", "reason": "other"}, "defer_until"),
    ({"verdict": "defer", "defer_until": "soon", "reason": "other"}, "defer_until"),
    ({"verdict": "defer", "defer_until": "2099-01-01", "reason": "other"}, "defer_until"),
    ({"verdict": "perhaps"}, "verdict"),
    ({"verdict": "agree", "who": "  "}, "who"),
    ({"verdict": "agree", "note": "x" * 2001}, "note"),
    ({"verdict": "agree", "note": "nul \x00"}, "note"),
    ({"verdict": "agree", "run_id": "another"}, "run_id"),
    ({"verdict": "agree", "last_review_seen": "invented"}, "last_review_seen"),
])  # fmt: skip
def test_what_is_not_whole_is_refused_by_field_and_nothing_is_lost(client, site, said, field):
    response = verdict(client, **said)
    assert response.status_code == 422
    assert BeautifulSoup(response.text, "html.parser").select_one(f"#fault-{field}")
    assert reviews(site) == []


def test_several_are_agreed_with_at_once(client, site):
    page = client.get("/queue?standing=all&text=M")
    form = {**fields(page, "form[action='/agree']"), "who": "Ana", "bearing_id": ["M1-DE", "M2-DE"]}
    response = client.post("/agree", data=form)
    assert response.status_code == 303
    assert {"standing=all", "text=M", "done=2"} <= set(response.headers["location"].partition("?")[2].split("&"))
    assert sorted(r["bearing_id"] for r in reviews(site)) == ["M1-DE", "M2-DE"]
    assert "2 verdicts recorded" in client.get(response.headers["location"]).text
    stale = {**form, "who": "Rui"}
    assert client.post("/agree", data=stale).status_code == 409
    assert len(reviews(site)) == 2


def test_a_record_says_what_was_really_done(client, site):
    page = client.get(f"/bearing?id={DRY}")
    response = client.post("/record", data={
        **fields(page, "#record"), "who": "A. Okafor", "kind": "relubrication", "grease_g": "21.5",
        "level_before": "38", "level_after": "31", "outlet_open": "yes", "purge": "dark, soft",
        "time": "2026-06-06T07:10",
    })  # fmt: skip
    assert response.status_code == 303, response.text
    row = Desk(site).store.ledger_rows("events")[-1]
    assert (row["bearing_id"], row["grease_g"], row["outlet_open"], row["who"]) == (DRY, 21.5, True, "A. Okafor")
    assert "21.5" in client.get(response.headers["location"]).text


@pytest.mark.parametrize(("said", "field"), [
    ({"grease_g": "a lot"}, "grease_g"), ({"grease_g": "-4"}, "grease_g"), ({"time": "2030-01-01T00:00"}, "time"),
    ({"kind": "painted"}, "kind"), ({"finding": "gremlins", "kind": "inspection"}, "finding"), ({"who": ""}, "who"),
])  # fmt: skip
def test_a_record_that_is_not_whole_is_refused_by_field(client, site, said, field):
    before = len(Desk(site).store.ledger_rows("events"))
    page = client.get(f"/bearing?id={DRY}")
    response = client.post("/record", data={**fields(page, "#record"), "who": "A. Okafor", **said})
    assert response.status_code == 422
    assert BeautifulSoup(response.text, "html.parser").select_one(f"#fault-record_{field}")
    assert len(Desk(site).store.ledger_rows("events")) == before


def test_a_wrong_record_is_replaced_and_both_stay_on_file(client, site):
    page = client.get(f"/bearing?id={DRY}")
    sent = {**fields(page, "#record"), "who": "A. Okafor", "grease_g": "215", "time": "2026-06-06T07:10"}
    assert client.post("/record", data=sent).status_code == 303
    wrong = Desk(site).store.ledger_rows("events")[-1]
    page = client.get(f"/bearing?id={DRY}")
    assert wrong["event_id"] in [option.get("value") for option in BeautifulSoup(page.text, "html.parser").select(
        "#supersedes option")]  # fmt: skip
    right = {**sent, **{"grease_g": "21.5", "supersedes": wrong["event_id"]}}
    assert client.post("/record", data=right).status_code == 303
    assert [row["grease_g"] for row in Desk(site).store.ledger_rows("events")[-2:]] == [215.0, 21.5]
    history = BeautifulSoup(client.get(f"/bearing?id={DRY}").text, "html.parser").select("#history ~ div td.n")
    assert "21.5" in [cell.text for cell in history]
    assert "215.0" not in [cell.text for cell in history]
    taken_back = {**fields(page, "#record"), "who": "A. Okafor", "kind": "withdrawn", "supersedes": ""}
    assert client.post("/record", data=taken_back).status_code == 422
    newest = Desk(site).store.ledger_rows("events")[-1]["event_id"]
    assert client.post("/record", data={**taken_back, "supersedes": newest}).status_code == 303
    history = BeautifulSoup(client.get(f"/bearing?id={DRY}").text, "html.parser").select("#history ~ div td.n")
    assert "21.5" not in [cell.text for cell in history]


def test_a_deferral_is_in_the_next_night(client, site):
    night = LAST + timedelta(days=1)
    verdict(client, verdict="defer", defer_until="2026-06-30", reason="work_planned")
    result = nightly(site, NOW + timedelta(hours=2), [night])
    row = result.mornings[-1].decisions[DRY]
    assert row["call"] == "hold"
    assert "deferred" in row["guards"].split()
    assert date(2026, 6, 30) > night
    assert "deferred" in client.get("/queue?standing=deferred").text.lower()


@pytest.mark.parametrize(("call", "guard"), [("hold", "deferred"), ("inspect", "asked_inspect")])
def test_another_call_is_in_the_next_night(client, site, call, guard):
    verdict(client, verdict="change", call=call, reason="work_planned")
    result = nightly(site, NOW + timedelta(hours=2), [LAST + timedelta(days=1)])
    row = result.mornings[-1].decisions[DRY]
    assert row["call"] == call
    assert guard in row["guards"].split()
    page = client.get(f"/bearing?id={DRY}").text
    assert "an analyst asks for it" in page or "deferred by an analyst" in page


def test_approving_writes_a_file_and_changes_nothing_in_force(client, site):
    before = Desk(site).definition.policy_text()
    page = client.get("/policy?name=default")
    form = {**fields(page, "form[action='/policy/approve']"), "who": "Ana", "reason": 'after "the" backtest'}
    response = client.post("/policy/approve", data=form)
    written = client.get(response.headers["location"])
    (path,) = (site / "policies").glob("*.toml")
    assert path.relative_to(site).as_posix() in written.text
    assert 'author = "Ana"' in path.read_text()
    assert Desk(site).definition.policy_text() == before
    assert client.get("/policy", params={"name": path.name, "against": "default"}).status_code == 200
