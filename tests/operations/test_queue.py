"""The queue's order, standing and matters, on a store filled by hand."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from condlube.explain.sentences import standing
from condlube.operations.check import read_policy
from condlube.operations.definition import load
from condlube.operations.desk import Desk, NotThere
from condlube.operations.matters import own_matters, standing_matters
from condlube.operations.queue import Filters, leading_state, queue, queue_lines, together, urgency
from condlube.operations.record import record
from condlube.register.canonical import dump
from condlube.register.model import Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import rows_to_table
from condlube.schema.words import STATES
from condlube.store.store import Store

NIGHTS = [date(2026, 6, 1) + timedelta(days=k) for k in range(4)]
DUE = date(2026, 6, 10)
# Calls of four nights, by bearing: h hold, g grease, b inspect the bearing, m inspect the machine, d hold by deferral.
CALLS = {"LASTING": "bbbb", "NEW": "hhhg", "CHANGED": "ggmb", "CLOSED": "hggh", "BROKEN": "bhbb", "QUIET": "hhhh",
         "DEFERRED": "bbbd", "FAILED": "hhhx"}  # fmt: skip
BEARINGS = "bearing_id,machine_id,area,route,designation,speed_rpm,criticality\n" + "".join(
    f"{name},M{k},Hall,R{k % 2},6316,1480,{'high' if name == 'CHANGED' else 'normal'}\n" for k, name in enumerate(CALLS)
)


def decision(name, night, run_id, code):
    call = {"h": "hold", "d": "hold", "g": "grease", "x": None}.get(code, "inspect")
    return {
        "run_id": run_id, "night": night, "bearing_id": name, "call": call, "second_action": "",
        "look_at": {"b": "bearing", "m": "machine"}.get(code, ""), "basis": "deferred" if code == "d" else "cost",
        "guards": "deferred" if code == "d" else "", "reason": "quiet" if call == "hold" else "time", "x": 0.5,
        **{f"p_{s}": 0.02 for s in STATES}, "p_adequate": 0.88, "due_date": DUE + timedelta(days=len(name)),
        "condition_status": "ok", "failed": "lost" if code == "x" else "",
    }  # fmt: skip


def decide(writer, night, run_id, codes, register, policy):
    rows = [decision(name, night, run_id, code) for name, code in codes.items()]
    writer.append("decisions", rows_to_table("decisions", rows))
    end = datetime(night.year, night.month, night.day, tzinfo=UTC) + timedelta(days=1)
    run = {"run_id": run_id, "night": night, "as_of": end, "known_by": end, "policy_digest": policy.digest,
           "register_digest": register.digest}  # fmt: skip
    texts = {"registers": [{"digest": register.digest, "text": dump(register)}],
             "policies": [{"digest": policy.digest, "text": policy.text}]}  # fmt: skip
    writer.commit("night", end, {"runs": [run], **texts})


@pytest.fixture
def desk(tmp_path):
    (tmp_path / "bearings.csv").write_text(BEARINGS)
    (tmp_path / "nightly.toml").write_text('[site]\nname = "S"\nzone = "UTC"\n[files]\nbearings = "bearings.csv"\n')
    definition = load(tmp_path)
    register = parse_register(Text("bearings.csv", BEARINGS), None, None, definition.site)
    policy = read_policy(definition)
    with Store.open(definition.store, definition.ledger).writer() as writer:
        # A night that was decided twice: the later run stands.
        wrong = dict.fromkeys(CALLS, "h")
        decide(writer, NIGHTS[1], "wrong", wrong, register, policy)
        for k, night in enumerate(NIGHTS):
            decide(writer, night, f"run{k}", {name: codes[k] for name, codes in CALLS.items()}, register, policy)
    return Desk(tmp_path)


def test_standing_tells_what_is_new_and_what_lasts(desk):
    standing = {line.bearing_id: line.standing for line in queue_lines(desk.sight())}
    assert standing == {
        "LASTING": "lasting", "NEW": "new", "CHANGED": "changed", "CLOSED": "closed", "BROKEN": "lasting",
        "QUIET": "quiet", "DEFERRED": "deferred", "FAILED": "new",
    }  # fmt: skip


def test_a_matter_begins_where_the_finding_was_unbroken(desk):
    found = standing_matters(desk.sight())
    assert {name: matter.first for name, matter in found.items() if name != "DEFERRED"} == {
        "LASTING": NIGHTS[0],
        "BROKEN": NIGHTS[2],
        "CHANGED": NIGHTS[3],
        "NEW": NIGHTS[3],
    }


def test_bearings_that_share_a_matter_keep_their_own_last_day(desk, monkeypatch):
    monkeypatch.setattr(
        "condlube.operations.matters._shared", lambda sight: {"machine": {"LASTING": "M", "BROKEN": "M"}}
    )
    sight = desk.sight()
    sight.kept["matters"] = [replace(m, look_at="machine") for m in own_matters(sight).values()]
    found = standing_matters(sight)
    assert found["LASTING"].bearing_ids == found["BROKEN"].bearing_ids == ("BROKEN", "LASTING")
    assert {name: found[name].by for name in ("LASTING", "BROKEN")} == {
        "LASTING": DUE + timedelta(days=len("LASTING")), "BROKEN": DUE + timedelta(days=len("BROKEN"))}  # fmt: skip


def test_what_was_recorded_this_morning_gives_the_state(desk):
    assert {line.bearing_id: line.matter.state for line in queue_lines(desk.sight()) if line.matter} == {
        "NEW": "on_work_list", "LASTING": "open", "BROKEN": "open", "CHANGED": "open", "DEFERRED": "open"}  # fmt: skip
    now = datetime(2026, 6, 5, 8, tzinfo=UTC)
    record(desk.store, desk.sight().register, "relubrication", now, bearing_id="NEW", grease_g=20)
    record(desk.store, desk.sight().register, "inspection", now, bearing_id="LASTING", finding="none")
    found = {line.bearing_id: line for line in queue_lines(desk.sight())}
    assert found["NEW"].matter.state == "done"
    assert found["LASTING"].matter.state == "inspected_without_finding"
    assert standing(found["LASTING"].matter, NIGHTS[-1]).endswith("inspected, nothing found 5 Jun")


def test_one_finding_on_a_machine_is_one_line(desk):
    lines = queue_lines(desk.sight())
    one = next(line for line in lines if line.bearing_id == "LASTING")
    shared = replace(one.matter, bearing_ids=("BROKEN", "LASTING"), look_at="machine")
    told = together([replace(line, matter=shared) if line.bearing_id in shared.bearing_ids else line for line in lines])
    assert len(told) == len(lines) - 1
    assert [[o.bearing_id for o in line.also] for line in told if line.also] == [["LASTING"]]


def test_the_last_day_to_act_and_then_what_neglect_would_cost_order_the_queue(desk):
    line = queue(desk.sight(), Filters(text="lasting")).lines[0]

    def of(name, call, due, late, criticality="normal", cost=1.0):
        row = line.decision | {"bearing_id": name, "call": call, "due_date": due, "due_late": late, "cost_hold": cost}
        return replace(line, decision=row, bearing=line.bearing | {"criticality": criticality})

    tonight, soon, later = (DUE + timedelta(days=k) for k in (0, 2, 14))
    lines = [
        of("GREASING", "grease", tonight, later, cost=2.0), of("DAMAGE", "inspect", soon, soon, cost=99.0),
        of("HIGH", "inspect", later, later, "high"), of("DEAR", "inspect", later, later, cost=12.0),
        of("LEAST", "hold", later, tonight),
    ]  # fmt: skip
    assert [one.bearing_id for one in sorted(lines, key=urgency)] == ["DAMAGE", "HIGH", "DEAR", "GREASING", "LEAST"]


def test_new_before_lasting_failed_first_then_by_due_date(desk):
    found = queue(desk.sight(), Filters())
    assert [line.bearing_id for line in found.lines] == ["FAILED", "NEW", "CHANGED", "BROKEN", "LASTING"]
    assert found.counts == {"hold": 3, "grease": 1, "inspect": 3, "failed": 1}
    assert found.choices["call"] == {"failed": 1, "grease": 1, "inspect": 3}


@pytest.mark.parametrize(("asked", "names"), [
    ({"call": "grease"}, ["NEW"]), ({"criticality": "high"}, ["CHANGED"]), ({"standing": "closed"}, ["CLOSED"]),
    ({"standing": "deferred"}, ["DEFERRED"]), ({"text": "brok"}, ["BROKEN"]), ({"area": "none"}, []),
    ({"route": "R1", "standing": "all"}, ["FAILED", "NEW", "CLOSED", "QUIET"]), ({"reviewed": "yes"}, []),
    ({"reason": "time", "call": "failed"}, ["FAILED"]), ({"page": 99, "text": "new"}, ["NEW"]),
])  # fmt: skip
def test_filters(desk, asked, names):
    assert [line.bearing_id for line in queue(desk.sight(), Filters(**asked)).lines] == names


def test_an_earlier_night_is_seen_as_it_was(desk):
    sight = desk.sight(NIGHTS[1])
    assert sight.run["run_id"] == "run1"
    assert {line.bearing_id: line.standing for line in queue_lines(sight)}["CLOSED"] == "new"
    with pytest.raises(NotThere, match="2026-05-31"):
        desk.sight(date(2026, 5, 31))


def test_a_later_commit_without_a_run_shares_what_was_read(desk):
    before = desk.sight()
    queue_lines(before)
    desk.store.record("note", datetime(2026, 6, 5, tzinfo=UTC), {})
    after = desk.sight()
    assert after is not before
    assert after.kept is before.kept


@pytest.mark.parametrize(("said", "state"), [
    ({"reason": "damaged ultrasound"}, "damaged"), ({"reason": "quiet"}, "overfilled"),
    ({"reason": "early_rise", "p_starved": 0.5}, "starved"),
])  # fmt: skip
def test_the_fault_that_the_reason_names_else_the_likeliest(said, state):
    row = {**decision("B", NIGHTS[0], "r", "h"), "look_at": "", "p_overfilled": 0.03, **said}
    assert leading_state(row) == (state, row[f"p_{state}"])
    assert leading_state({**row, **{f"p_{s}": None for s in STATES}}) == ("", 0.0)


def test_filters_make_an_address():
    asked = Filters(area="Hall A", page=3)
    assert asked.address() == {"area": "Hall A"}
    assert asked.address(page=4) == {"area": "Hall A", "page": "4"}
    assert asked.address(area="", call="grease") == {"call": "grease"}
