"""Who may look and who may write; what comes from elsewhere is refused."""

import json
import stat
from datetime import timedelta

import pytest
from review_site import DRY, MORNING
from starlette.testclient import TestClient
from test_forms import fields, reviews

from condlube.errors import CondlubeError
from condlube.operations.access import Access, access_file, remove_user, set_user
from condlube.operations.definition import load
from condlube.web.app import create_app
from condlube.web.serve import is_loopback, serve
from condlube.web.sessions import IDLE, LONGEST, TRIES

PASSWORDS = {"ana": "correct horse battery", "rui": "a reader's password"}


def log_in(client, name, password=None):
    return client.post("/login", data={"name": name, "password": password or PASSWORDS[name], "next": "/fleet"})


def test_without_credentials_nobody_is_served_beyond_this_machine(site):
    with pytest.raises(CondlubeError, match="credentials"):
        serve(site, "0.0.0.0", 0)


@pytest.mark.parametrize(("host", "loopback"), [
    ("127.0.0.1", True), ("127.9.9.9", True), ("::1", True), ("localhost", True), ("0.0.0.0", False), ("::", False),
    ("192.168.1.4", False), ("plant.example", False), ("", False),
])  # fmt: skip
def test_loopback(host, loopback):
    assert is_loopback(host) is loopback


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "[", "localhost@evil.example"])
def test_a_name_that_leads_here_from_elsewhere_is_refused(client, host):
    assert client.get("/queue", headers={"host": host}).status_code == 403


def test_passwords_are_hashed_in_a_file_of_their_own(site):
    file = access_file(load(site))
    set_user(file, "ana", PASSWORDS["ana"], "analyst")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert PASSWORDS["ana"] not in file.read_text()
    assert "ana" not in (site / "nightly.toml").read_text()
    access = Access.load(file)
    assert access.check("ana", PASSWORDS["ana"]).role == "analyst"
    assert access.check("ana", "correct horse batterx") is None
    assert access.check("nobody", PASSWORDS["ana"]) is None
    remove_user(file, "ana")
    assert not Access.load(file)


@pytest.mark.parametrize(("name", "password", "role"), [
    ("ana", "short", "analyst"), ("", PASSWORDS["ana"], "analyst"), ("a\nb", PASSWORDS["ana"], "analyst"),
    ("ana", PASSWORDS["ana"], "admin"), ("ana", "x" * 2000, "reader"),
])  # fmt: skip
def test_weak_credentials_are_refused(site, name, password, role):
    with pytest.raises(CondlubeError):
        set_user(access_file(load(site)), name, password, role)


@pytest.mark.parametrize(
    "text", ["", "{}", "[]", '{"users": {"ana": {}}}', '{"users": {"ana": {"role": "king"}}}', "{"]
)
def test_a_broken_file_of_users_lets_nobody_in(site, text):
    file = access_file(load(site))
    file.write_text(text)
    with pytest.raises(CondlubeError, match=r"access\.json"):
        Access.load(file)


def test_pages_ask_for_a_login_and_lead_back(guarded):
    client = guarded()
    asked = client.get(f"/bearing?id={DRY}")
    assert asked.status_code == 303
    assert asked.headers["location"] == f"/login?next=%2Fbearing%3Fid%3D{DRY}"
    assert client.get("/api/queue").status_code == 401
    assert client.get("/worklist.csv").status_code == 303
    wrong = log_in(client, "ana", "wrong password")
    assert wrong.status_code == 403
    assert "Name or password is wrong" in wrong.text
    right = log_in(client, "ana")
    assert right.headers["location"] == "/fleet"
    cookie = right.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert client.get("/fleet").status_code == 200


@pytest.mark.parametrize(
    "target", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:1", "/a\nb"]
)
def test_a_login_never_leads_elsewhere(guarded, target):
    sent = {"name": "ana", "password": PASSWORDS["ana"], "next": target}
    assert guarded().post("/login", data=sent).headers["location"] == "/queue"


def test_guessing_is_slowed_down(guarded):
    client = guarded()
    for _ in range(TRIES):
        log_in(client, "ana", "wrong password")
    assert "wait a minute" in log_in(client, "ana").text
    assert log_in(client, "rui").status_code == 303


def test_a_reader_looks_and_does_not_write(guarded, site):
    client = guarded()
    log_in(client, "rui")
    page = client.get(f"/bearing?id={DRY}")
    assert page.status_code == 200
    assert "Record verdict" not in page.text
    csrf = fields(page, "form.logout")["csrf"]
    for path in ("/verdict", "/agree", "/record", "/policy/approve"):
        assert client.post(path, data={"csrf": csrf, "bearing_id": DRY}).status_code == 403
    assert client.post("/api/reviews", json={}).status_code == 403
    assert reviews(site) == []


def test_a_verdict_is_signed_by_who_is_logged_in(guarded, site):
    client = guarded()
    log_in(client, "ana")
    form = fields(client.get(f"/bearing?id={DRY}"), "#verdict")
    client.post("/verdict", data={**form, "verdict": "agree", "who": "somebody else"})
    assert [row["who"] for row in reviews(site)] == ["ana"]


def test_a_form_needs_the_token_of_its_own_session(client, guarded, site):
    form = {**fields(client.get(f"/bearing?id={DRY}"), "#verdict"), "who": "Ana", "verdict": "agree"}
    for token in ("", "x", form["csrf"][:-1], "ü"):
        assert client.post("/verdict", data={**form, "csrf": token}).status_code == 403
    assert client.post("/verdict", data={k: v for k, v in form.items() if k != "csrf"}).status_code == 403
    other = guarded()
    log_in(other, "ana")
    assert other.post("/verdict", data=form).status_code == 403
    assert reviews(site) == []


@pytest.mark.parametrize("headers", [
    {"origin": "https://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"}, {"origin": "http://127.0.0.1:9999"},
])  # fmt: skip
def test_what_another_site_sends_is_refused(client, site, headers):
    form = {**fields(client.get(f"/bearing?id={DRY}"), "#verdict"), "who": "Ana", "verdict": "agree"}
    assert client.post("/verdict", data=form, headers=headers).status_code == 403
    assert reviews(site) == []


def test_a_form_cannot_pass_for_json(client, site):
    sent = json.dumps({"bearing_id": DRY, "verdict": "agree"})
    assert client.post("/api/reviews", content=sent, headers={"content-type": "text/plain"}).status_code == 403
    assert reviews(site) == []


def test_large_and_endless_bodies_are_refused(client):
    assert client.post("/verdict", content=b"x" * 2_000_001).status_code == 403
    assert client.post("/verdict", content=iter([b"x"])).status_code == 403


@pytest.mark.parametrize("late", [IDLE + timedelta(seconds=1), LONGEST + timedelta(seconds=1)])
def test_sessions_expire(site, late):
    file = access_file(load(site))
    set_user(file, "ana", PASSWORDS["ana"], "analyst")
    times = [MORNING]
    app = create_app(site, Access.load(file), lambda: times[-1])
    client = TestClient(app, base_url="http://plant.example", follow_redirects=False)
    log_in(client, "ana")
    if late > LONGEST:
        while times[-1] < MORNING + LONGEST - IDLE:
            times.append(times[-1] + IDLE)
            assert client.get("/backtest").status_code == 200
    times.append(MORNING + late)
    assert client.get("/backtest").status_code == 303


def test_logging_out_ends_the_session(guarded):
    client = guarded()
    log_in(client, "ana")
    token = client.cookies["condlube_session"]
    client.post("/logout", data=fields(client.get("/backtest"), "form.logout"))
    stolen = guarded()
    stolen.cookies.set("condlube_session", token)
    assert stolen.get("/backtest").status_code == 303
