"""The briefing tells a finding that lasts once, as one matter with its age."""

from datetime import UTC, date, datetime

from condlube.advisory.matters import Matter
from condlube.explain.briefing import briefing
from condlube.schema.words import STATES

NIGHT = date(2026, 10, 31)
KNOWN = datetime(2026, 11, 1, 4, tzinfo=UTC)


def decision(name, call, reason, **told):
    usual = {"bearing_id": name, "call": call, "reason": reason, "x": 1.1, "grease_g": 20.0, "look_at": "",
             "second_action": "", "due_date": None, "due_late": None, "failed": "",
             **dict.fromkeys((f"p_{s}" for s in STATES), 0.1),
             "p_machine_fault": 0.6}  # fmt: skip
    return usual | told


def velocity(name):
    bits = {f"bits_{state}": 0.0 for state in ("starved", "overfilled", "supply_fault", "damaged", "instrument_fault")}
    return {"bearing_id": name, "source": "velocity", "point_id": f"{name}.V", "status": "assessed", "deviation": 2.3,
            "reason": "", "bits_machine_fault": 5.0, **bits}  # fmt: skip


def matter(names, call, look_at, first, **told):
    usual = {"bearing_ids": names, "call": call, "look_at": look_at, "first": first, "last": NIGHT, "nights": 8,
             "began_as": "machine_fault velocity", "reason": "machine_fault velocity", "state": "open", "since": first,
             "at_standstill": False, "by": None}  # fmt: skip
    return Matter(**(usual | told))


def page(matters, changed=(), width=100):
    machine = {"look_at": "machine"}
    decisions = {
        "F1": decision("F1", "inspect", "machine_fault velocity", **machine),
        "F2": decision("F2", "inspect", "machine_fault velocity", **machine),
        "G1": decision("G1", "grease", "time"),
        "H1": decision("H1", "hold", "replacement_window", second_action="replace"),
        "H2": decision("H2", "hold", "replacement_window", second_action="replace"),
        "H3": decision("H3", "hold", "quiet"),
    }
    evidence = {name: [velocity(name)] if name[0] == "F" else [] for name in decisions}
    counts = {"grease": 1, "hold": 3, "inspect": 2}
    return briefing(
        "Mill", NIGHT, KNOWN, counts, decisions, evidence, matters, list(changed), date(2026, 10, 30), [], [], width
    )


def test_what_is_late_longest_comes_first():
    since = date(2026, 10, 1)
    told = page({
        "F1": matter(("F1",), "inspect", "machine", since, by=date(2026, 10, 20)),
        "F2": matter(("F2",), "inspect", "machine", since, by=date(2026, 10, 10)),
    })  # fmt: skip
    assert told.index("  F2 ") < told.index("  F1 ")


def test_a_matter_of_two_bearings_is_told_once_with_its_age():
    told = page({name: matter(("F1", "F2"), "inspect", "machine", date(2026, 10, 24)) for name in ("F1", "F2")})
    assert told.count("Inspect the machine") == 1
    assert "The same on F2. Since 24 Oct 2026 (7 nights), open." in told.replace("\n" + " " * 19, " ")


def test_bearings_without_a_matter_are_told_each():
    assert page({}).count("Inspect the machine") == 2


def test_a_change_is_not_told_twice():
    one = matter(("G1",), "grease", "", NIGHT, nights=1, began_as="time", reason="time", state="on_work_list")
    told = page({"G1": one}, [("G1", "hold", "grease")])
    assert told.count("Grease 20 g") == 1
    assert "told above: G1" in told


def test_what_is_left_alone_but_needs_something_stands_under_it():
    told = page({})
    assert "LEFT ALONE, BUT (2)\n  Plan its replacement for the next planned stop. H1, H2" in told
    assert "H3" not in told


def test_no_line_is_wider_than_the_page():
    told = page({n: matter(("F1", "F2"), "inspect", "machine", date(2026, 10, 24)) for n in ("F1", "F2")}, width=60)
    assert max(map(len, told.splitlines())) <= 60
