"""The case table of the project's design, section 7, through register, evidence, odds, costs and guards.

The design gives the call of the cost view; where a guard decides otherwise that is named beside it.
"""

import pytest

CASES = {
    # case: x, days since greasing, evidence, call, look_at
    "quiet": (0.40, 100, {"ultrasound": 0, "acceleration": 0, "velocity": 1.0, "temperature": 0}, "hold", ""),
    "overdue, listening": (1.05, 200, {"ultrasound": 0, "velocity": 1.0, "temperature": 0}, "hold", ""),
    "early": (0.35, 70, {"ultrasound": 9, "onset": "gradual", "velocity": 1.0, "temperature": 2}, "grease", ""),
    "early, two witnesses": (
        0.60, 120, {"ultrasound": 9, "acceleration": 5, "onset": "gradual", "velocity": 1.0, "temperature": 4},
        "grease", "",
    ),
    "far too early": (
        0.10, 25, {"ultrasound": 9, "onset": "gradual", "velocity": 1.0, "temperature": 0}, "inspect", "supply"
    ),
    "came back": (0.03, 5, {"ultrasound": 9, "response": "returned"}, "inspect", "supply"),
    "came back, others quiet": (
        0.03, 5, {"ultrasound": 9, "response": "returned", "velocity": 1.0, "temperature": 0}, "inspect", "supply"
    ),
    "no effect": (0.10, 14, {"ultrasound": 9, "response": "none"}, "inspect", "supply"),
    "no effect, others quiet": (
        0.10, 14, {"ultrasound": 9, "response": "none", "velocity": 1.0, "temperature": 0}, "inspect", "supply"
    ),
    "churning": (0.003, 0.5, {"temperature": 12, "ultrasound": -1}, "hold", ""),
    "triple dose": (0.003, 1, {"temperature": 12, "dose_ratio": 3.0}, "hold", ""),
    "damage": (
        0.50, 100, {"ultrasound": 18, "acceleration": 12, "velocity": 1.8, "temperature": 6}, "inspect", "bearing"
    ),
    "small but fast": (0.30, 60, {"acceleration": 2.2, "growth": 6}, "inspect", "bearing"),
    "small plateau": (0.30, 60, {"acceleration": 1.1}, "hold", ""),
    "unbalance": (0.50, 100, {"ultrasound": 0, "acceleration": 0, "velocity": 2.0}, "inspect", "machine"),
    "collector step": (
        0.50, 100, {"ultrasound": 9, "onset": "abrupt", "collector_share": 0.9}, "inspect", "instrument"
    ),
    "warm only": (0.50, 100, {"ultrasound": 0, "velocity": 1.0, "temperature": 8}, "hold", ""),
    "warm, one sensor": (0.70, 140, {"temperature": 12}, "hold", ""),
    "hot, one sensor": (0.50, 100, {"temperature": 30}, "inspect", "bearing"),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_case_table(name, scene):
    x, days, evidence, call, look_at = CASES[name]
    evidence = dict(evidence)
    life = {"dose_ratio": evidence.pop("dose_ratio")} if "dose_ratio" in evidence else {}
    decision, _ = scene(x=x, days=days, life=life, **evidence)
    assert decision["cost_call"] == call
    assert decision["call"] == call
    assert decision["look_at"] == look_at


def test_warm_on_one_sensor_asks_for_a_look(scene):
    decision, _ = scene(x=0.70, days=140, temperature=12)
    assert decision["second_action"] == "look"
