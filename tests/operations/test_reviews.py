"""A verdict that carries an inspection: the next night knows that somebody looked and found nothing."""

import shutil
from datetime import UTC, datetime, timedelta

import pytest
from small_site import NIGHTS, NOW

from condlube.operations.desk import Desk
from condlube.operations.matters import standing_matters
from condlube.operations.nightly import nightly
from condlube.operations.reviews import Unfit, Verdict, submit
from condlube.schema.words import NOTHING_FOUND

DRY = "M1-DE"
REVIEWED = NIGHTS[-2]
MORNING = datetime(2026, 6, 4, 8, tzinfo=UTC)


@pytest.fixture
def desk(small_site, tmp_path):
    folder, _ = small_site
    shutil.copytree(folder, tmp_path / "site")
    return Desk(tmp_path / "site")


def said(desk, **fields):
    decision = desk.sight(REVIEWED).decision(DRY)
    made = {"verdict": "change", "call": "hold", "reason": NOTHING_FOUND, **fields}
    return Verdict(DRY, REVIEWED, decision["run_id"], "Ines Prado", **made)


def test_inspected_nothing_found_is_an_inspection_of_the_next_night(desk):
    before = desk.sight().decision(DRY)
    assert "early_rise" in before["guards"]
    for _ in range(2):  # sent twice, recorded once
        submit(desk, [said(desk, note="listened, greased path free")], MORNING)
    (event,) = desk.store.ledger_rows("events", {"bearing_id": DRY, "kind": "inspection"})
    assert (event["finding"], event["who"], event["time"]) == ("none", "Ines Prado", MORNING)
    assert standing_matters(desk.sight())[DRY].state == "inspected_without_finding"
    nightly(desk.definition.folder, NOW, [NIGHTS[-1]])
    after = desk.sight().decision(DRY)
    assert "early_rise" not in after["guards"]
    assert (before["call"], after["call"]) == ("grease", "hold")
    assert after["prior_damaged"] < 0.2 * before["prior_damaged"]


@pytest.mark.parametrize("reason", ["seen_on_site", "measured_again"])
def test_no_other_reason_is_taken_for_an_inspection(desk, reason):
    submit(desk, [said(desk, reason=reason)], MORNING)
    assert desk.store.ledger_rows("events", {"bearing_id": DRY, "kind": "inspection"}) == []


def test_a_deferral_may_carry_one_and_a_call_to_inspect_may_not(desk):
    with pytest.raises(Unfit, match="inspection found nothing"):
        submit(desk, [said(desk, call="inspect")], MORNING)
    until = MORNING.date() + timedelta(days=9)
    submit(desk, [said(desk, verdict="defer", call="", defer_until=until)], MORNING)
    assert len(desk.store.ledger_rows("events", {"bearing_id": DRY, "kind": "inspection"})) == 1
