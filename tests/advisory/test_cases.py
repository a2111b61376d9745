"""Written cases: bearing-nights with the call that an engineer would sign, each with its reason and source."""

import tomllib
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from condlube.advisory.job import job

CASES = [
    case
    for name in ("cases.toml", "combined.toml")
    for case in tomllib.loads((Path(__file__).parent / name).read_text("utf-8"))["case"]
]
AS_OF = datetime.fromisoformat("2025-06-02T00:00:00+00:00")
NIGHT = date(2025, 6, 1)


def moment(days_ago):
    return AS_OF - timedelta(days=days_ago)


def dated(row):
    """A deviation of a case: dates and ages as the table has them."""
    row = dict(row)
    if "hours_ago" in row:
        row["level_time"] = AS_OF - timedelta(hours=row.pop("hours_ago"))
    if "onset_date" in row:
        row["onset_date"] = date.fromisoformat(row["onset_date"])
    if "response_to" in row:
        row["response_to"] = datetime.fromisoformat(row["response_to"]).replace(tzinfo=AS_OF.tzinfo)
    return row


def test_there_are_enough_cases_and_each_says_why():
    assert len(CASES) >= 230
    assert len({case["name"] for case in CASES}) == len(CASES)
    assert all(case["why"] and case["source"] for case in CASES)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_case(case, scene, register_of, policy):
    evidence = {k: dated(v) if isinstance(v, dict) else v for k, v in case.get("evidence", {}).items()}
    life = {k: case[k] for k in ("dose_ratio", "origin", "grease", "interval_reason") if k in case}
    events = [
        {k: v for k, v in event.items() if k != "days_ago"} | {"time": moment(event["days_ago"])}
        for event in case.get("events", [])
    ]
    reviews = [
        {
            "verdict": r["verdict"],
            "time": moment(r["days_ago"]),
            "call": r.get("call"),
            "defer_until": date.fromisoformat(r["until"]) if "until" in r else None,
        }
        for r in case.get("reviews", [])
    ]
    bearing = case.get("bearing", {})
    decision, rows = scene(
        x=case["x"], days=case.get("days", 200.0 * case["x"]), bearing=bearing, events=events, reviews=reviews,
        life=life, rows=case.get("rows", ()), **evidence,
    )  # fmt: skip
    told = f"{decision['call']} by {decision['basis']}, guards {decision['guards']!r}, reason {decision['reason']!r}"
    if "call" in case:
        assert decision["call"] == case["call"], told
    if "not_call" in case:
        assert decision["call"] != case["not_call"], told
    for column, key in (("look_at", "look_at"), ("basis", "basis"), ("second_action", "second"),
                        ("condition_status", "condition"), ("reason", "reason")):  # fmt: skip
        if key in case:
            assert decision[column] == case[key], told
    guards = set(decision["guards"].split())
    assert set(case.get("guards", ())) <= guards, told
    assert not set(case.get("not_guards", ())) & guards, told
    if "speaks" in case:
        assert rows.loc[rows["source"] == "ultrasound", "point_id"].tolist() == [case["speaks"]]
    if "prior_reason" in case:
        assert case["prior_reason"] in rows["reason"].iloc[0].split()
    if "due_days" in case:
        assert decision["due_date"].date() == NIGHT + timedelta(days=case["due_days"])
    if "due_most" in case:
        assert decision["due_date"].date() <= NIGHT + timedelta(days=case["due_most"]), decision["due_date"]
    if "kind" in case:
        own = register_of({"bearing_id": "B", "designation": "6313", "speed_rpm": 1480, **bearing})[0].iloc[0]
        assert job(decision, own, rows.to_dict("records"), policy.dose).kind == case["kind"]
