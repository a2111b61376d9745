"""The API: the same operations, described offline, never a fault of the server's own."""

import json

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from review_site import DRY, LAST, copy_of, fixed_clock
from schemathesis import GenerationMode

from condlube.operations.desk import Desk
from condlube.schema.words import STATES
from condlube.web.app import create_app


@pytest.fixture(scope="module")
def schema(decided, tmp_path_factory):
    """The API of a site that may be written to."""
    app = create_app(copy_of(decided, tmp_path_factory.mktemp("fuzzed") / "site"), clock=fixed_clock())
    return schemathesis.openapi.from_asgi("/api/openapi.json", app, headers={"host": "127.0.0.1"})


OPERATIONS = [
    ("GET", "/api/nights"), ("GET", "/api/queue"), ("GET", "/api/bearing"), ("GET", "/api/evidence"),
    ("GET", "/api/worklist"), ("GET", "/api/fleet"), ("GET", "/api/data"), ("GET", "/api/data/rejected"),
    ("GET", "/api/policy"), ("GET", "/api/backtests"), ("POST", "/api/reviews"), ("POST", "/api/events"),
    ("POST", "/api/policies"),
]  # fmt: skip


@pytest.mark.parametrize("mode", list(GenerationMode))
@pytest.mark.parametrize(("method", "path"), OPERATIONS)
def test_no_input_is_a_fault_of_the_server(schema, method, path, mode):
    operation = schema[path][method]

    @settings(max_examples=20, suppress_health_check=list(HealthCheck), database=None, derandomize=True)
    @given(case=operation.as_strategy(generation_mode=mode))
    def ask(case):
        response = case.call(headers={"host": "127.0.0.1"})
        assert response.status_code < 500, response.text
        assert "content-security-policy" in response.headers

    try:
        ask()
    except Unsatisfiable:
        assert mode is GenerationMode.NEGATIVE


def test_the_description_names_every_operation_and_needs_no_network(reader):
    described = reader.get("/api/openapi.json").json()
    assert {(method.upper(), path) for path, said in described["paths"].items() for method in said} == set(OPERATIONS)
    assert "http" not in json.dumps(described["paths"])
    page = reader.get("/api").text
    assert all(path in page for path in described["paths"])
    for gone in ("/docs", "/redoc", "/openapi.json"):
        assert reader.get(gone).status_code == 404


def test_numbers_are_those_of_the_store(reader, decided):
    sight = Desk(decided).sight()
    found = reader.get("/api/bearing", params={"id": DRY}).json()["night"]
    assert found["decision"]["p_starved"] == sight.decisions[DRY]["p_starved"]
    assert found["sight"]["run_id"] == sight.run["run_id"]
    rows = reader.get("/api/evidence", params={"id": DRY}).json()
    assert [row["ordinal"] for row in rows] == list(range(len(rows)))
    listed = reader.get("/api/queue", params={"standing": "all"}).json()
    assert listed["found"] == len(sight.decisions)
    assert {line["state"] for line in listed["lines"]} <= set(STATES)


def test_the_trend_of_tonight_is_the_evidence_of_tonight(reader):
    found = reader.get("/api/bearing", params={"id": DRY}).json()["night"]
    row = next(row for row in found["evidence"] if row["source"] == "ultrasound")
    trend = next(trend for trend in found["trends"] if trend["quantity"] == "ultrasound")
    assert trend["nights"][-1] == str(LAST)
    assert trend["observed"][-1] == pytest.approx(row["observed"], rel=1e-4)
    assert trend["expected"][-1] == pytest.approx(row["expected"], rel=1e-4)
    assert trend["high"][-1] < trend["observed"][-1]


def test_verdicts_by_program_obey_the_same_chain(client, site):
    run_id = Desk(site).sight().run["run_id"]
    sent = {"bearing_id": DRY, "night": str(LAST), "run_id": run_id, "verdict": "agree", "who": "planner"}
    first = client.post("/api/reviews", json=sent)
    assert first.status_code == 201
    second = {**sent, "verdict": "change", "call": "hold", "reason": "other"}
    assert client.post("/api/reviews", json=second).status_code == 409
    seen = {**second, "last_review_seen": first.json()["review_id"]}
    assert client.post("/api/reviews", json=seen).status_code == 201
    assert [row["verdict"] for row in Desk(site).store.ledger_rows("reviews")] == ["agree", "change"]


def test_events_by_program(client, site):
    sent = {"bearing_id": DRY, "kind": "relubrication", "grease_g": 20.5, "who": "planner", "outlet_open": True}
    answer = client.post("/api/events", json=sent)
    assert answer.status_code == 201, answer.text
    row = Desk(site).store.ledger_rows("events")[-1]
    assert (row["grease_g"], row["outlet_open"]) == (20.5, True)
    assert client.post("/api/events", json={**sent, "bearing_id": "nothing"}).status_code == 422
    assert client.post("/api/events", json={**sent, "grease_g": "1e999"}).status_code == 422


def test_a_policy_is_approved_by_program_and_not_put_in_force(client, site):
    before = client.get("/api/policy").json()["text"]
    made = client.post("/api/policies", json={"name": "default", "reason": "after the backtest", "who": "Ana"})
    assert made.status_code == 201, made.text
    assert (site / made.json()["file"]).read_text().count('author = "Ana"') == 1
    assert client.get("/api/policy").json()["text"] == before
    assert client.post("/api/policies", json={"name": "default", "reason": " ", "who": "Ana"}).status_code == 422
    assert client.post("/api/policies", json={"name": "../x", "reason": "r", "who": "Ana"}).status_code == 404
