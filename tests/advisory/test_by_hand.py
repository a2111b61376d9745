"""Three decisions worked by hand from the printed policy: prior, bits, odds, expected cost, and the interval.

Every number below is read off ``condlube/policy/default.toml`` and the formulas of docs/methods/assessment.md; nothing
of the engine is called but the decision that is held against them. States in the order adequate, starved, overfilled,
supply_fault, damaged, machine_fault, instrument_fault.
"""

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from condlube.assessment.life import life
from condlube.register.model import Site
from condlube.schema.arrow import rows_to_table
from condlube.schema.words import ACTIONS, STATES

GREASE = (1, 1, 40, 60, 110, 25, 4)
INSPECT = (4, 9, 5, 4, 4, 4, 2)
HOLD_OTHERS = (0, None, 40, 60, 100, 20, 3)  # starved is solved


def worked(x, bits, days_running_h, added=0.02, interval_h=None):
    """Prior, posterior and costs from x, the sums of bits per state other than adequate, and hours since greasing."""
    half_life = min(48.0, interval_h / 30)
    over = 0.003 + added * 2 ** (-days_running_h / half_life)
    supply = 0.012 * 2 ** (-x / 0.06)
    starved = 1 - 0.99 ** (x**2.366)
    others = (starved, over, supply, 0.003, 0.008, 0.005)
    prior = (1 - sum(others), *others)
    odds = (prior[0], *(p * 2**b for p, b in zip(others, bits, strict=True)))
    posterior = [o / sum(odds) for o in odds]
    supply_due = 0.012 * 2 ** (-1 / 0.06)
    adequate_due = 1 - 0.01 - 0.003 - supply_due - 0.003 - 0.008 - 0.005
    # hold(starved) at x = 1: what makes grease and hold cost the same; (40-40), (60-60), (110-100), (25-20), (4-3)
    hold_starved = 1 + (adequate_due * 1 + 0.003 * 10 + 0.008 * 5 + 0.005 * 1) / 0.01
    hold = (0, hold_starved, *HOLD_OTHERS[2:])
    cost = {a: math.fsum(p * c for p, c in zip(posterior, t, strict=True))
            for a, t in zip(ACTIONS, (GREASE, hold, INSPECT), strict=True)}  # fmt: skip
    return prior, posterior, cost


CASES = {
    # ultrasound 0: -1.5 -.5 -1.5 -1.5 0 0; velocity 1.0: 0 0 0 -.5 -1.5 0; temperature 0: -.5 -1.5 -.5 -.5 0 0
    "overdue, listening": (
        {"x": 1.05, "days": 200, "ultrasound": 0, "velocity": 1.0, "temperature": 0},
        (-2.0, -2.0, -2.0, -2.5, -1.5, 0.0), "hold",
    ),
    # ultrasound 9, a quarter of the way from 8 to 12: 4.125 .125 4.125 3.0 .625 1.125; gradual: .5 0 .5 -.5 0 -.5;
    # velocity 1.0 as above; temperature 2, half way from 0 to 4: -.25 -.5 -.25 0 0 0
    "early": (
        {"x": 0.35, "days": 70, "ultrasound": 9, "onset": "gradual", "velocity": 1.0, "temperature": 2},
        (4.375, -0.375, 4.375, 2.0, -0.875, 0.625), "grease",
    ),
    # acceleration 2.2, 2.2/3 of the way from 0 to 3: -1.5 + .7333 = -.7667 (starved, supply, damaged), overfilled
    # -.5 + .3667; negative bits of vibration count as 0 under fast growth; growth 6: -1 0 -1 5 2 1.5
    "small but fast": (
        {"x": 0.30, "days": 60, "acceleration": 2.2, "growth": 6}, (-1.0, 0.0, -1.0, 5.0, 2.0, 1.5), "inspect",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_odds_and_costs(name, scene):
    told, bits, call = CASES[name]
    decision, evidence = scene(**told)
    hours = told["days"] * 24
    prior, posterior, cost = worked(told["x"], bits, hours, interval_h=hours / told["x"])
    assert [decision[f"prior_{s}"] for s in STATES] == pytest.approx(prior, rel=1e-9)
    assert [decision[f"p_{s}"] for s in STATES] == pytest.approx(posterior, rel=1e-5)  # bits are rounded to 2^-20
    assert [decision[f"cost_{a}"] for a in ACTIONS] == pytest.approx([cost[a] for a in ACTIONS], rel=1e-5)
    assert min(cost, key=cost.get) == decision["cost_call"] == call
    summed = [evidence.iloc[1:][f"bits_{s}"].sum() for s in STATES[1:]]
    assert summed == pytest.approx(bits, abs=1e-5)
    assert evidence.iloc[0]["bits_starved"] == pytest.approx(math.log2(prior[1] / prior[0]), abs=1e-9)


def test_interval_and_share_used_up(register_of, policy):
    """6313: bore 65 mm, 1480 r/min. 14e6/(1480 sqrt 65) - 4*65 = 913.3 h; deep groove ball 10; 72 degC housing 0.5;
    humid 0.7; horizontal, clean, quiet 1: K = 3.5, 3197 h. Greased 40 days ago, running all the time: 960 h of them."""
    bearings, greases, points = register_of({
        "bearing_id": "B", "designation": "6313", "speed_rpm": 1480, "housing_degc": 72, "moisture": "humid",
        "grease_assigned": "alpha", "commissioned": "2020-01-01",
    })  # fmt: skip
    event = {"event_id": "1", "bearing_id": "B", "kind": "relubrication", "time": datetime(2025, 4, 23, tzinfo=UTC)}
    none = {name: rows_to_table(name, []).to_pandas() for name in ("summaries", "deviations")}
    used = life(
        bearings, greases, points, none["summaries"], rows_to_table("events", [event]).to_pandas(), none["deviations"],
        Site("plant", ZoneInfo("UTC"), None), policy, datetime(2025, 6, 2, tzinfo=UTC),
    ).iloc[0]  # fmt: skip
    interval = 10 * 0.5 * 0.7 * (14e6 / (1480 * math.sqrt(65)) - 4 * 65)
    assert interval == pytest.approx(3197, abs=1)
    assert used["interval_h"] == pytest.approx(interval, rel=1e-9)
    assert used["x"] == pytest.approx(960 / interval, rel=1e-9)
