"""What must hold of every decision, whatever the evidence and the policy (project design, section 7)."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from condlube.advisory.cost import cheapest, expected_costs
from condlube.advisory.decide import decide
from condlube.advisory.guard_codes import TAKES
from condlube.assessment import kernel
from condlube.assessment.posterior import posterior
from condlube.assessment.priors import priors
from condlube.assessment.rules import CONTEXT
from condlube.assessment.sources import OTHERS, POSITION, SOURCES, tables
from condlube.errors import ConfigurationError
from condlube.policy.parse import parse_policy
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import rows_to_table
from condlube.schema.words import ACTIONS, RESPONSES, STATES

AS_OF = datetime(2025, 6, 2, tzinfo=UTC)
SITE = Site("plant", ZoneInfo("UTC"), None)
DEFAULT = parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")
GREASE, HOLD, INSPECT = range(3)

LEVEL = {
    "ultrasound": st.floats(-40, 60), "acceleration": st.floats(-40, 60), "kurtosis": st.floats(0.2, 9),
    "crest_factor": st.floats(0.2, 9), "velocity": st.floats(0.05, 20), "temperature": st.floats(-60, 90),
}  # fmt: skip
STATUSES = st.sampled_from(["assessed", "assessed", "assessed", "not_testable", "faulty", "stale"])


@st.composite
def deviation_rows(draw, bearing, quantities=tuple(LEVEL), statuses=STATUSES):
    rows = []
    for quantity in draw(st.lists(st.sampled_from(quantities), max_size=4)):
        status = draw(statuses)
        value = draw(LEVEL[quantity]) if status == "assessed" else None
        rows.append({
            "point_id": f"{bearing}.{quantity}.{len(rows)}", "bearing_id": bearing, "quantity": quantity,
            "status": status, "reason": draw(st.sampled_from(["", "stopped", "spike"])) if value is None else "",
            "deviation": value, "observed": value, "expected": 1.0, "reference_spread": 1.0,
            "growth": draw(st.floats(0, 20)), "onset": draw(st.sampled_from(["none", "gradual", "abrupt"])),
            "share": draw(st.floats(0, 1)), "response": draw(st.sampled_from(RESPONSES)),
            "level_now": draw(st.none() | st.floats(0, 200)),
            "level_time": AS_OF - timedelta(hours=draw(st.integers(0, 200))),
            "sound_nights": draw(st.integers(0, 3)), "nights_over": draw(st.integers(1, 9)),
            "slope_low": draw(st.floats(-3, 3)), "slope": 1.0, "slope_high": 2.0,
        })  # fmt: skip
    return rows


BEARING = st.fixed_dictionaries({
    "seal": st.sampled_from(["open", "shielded", "sealed"]), "drive": st.sampled_from(["direct", "inverter", "belt"]),
    "moisture": st.sampled_from(["dry", "humid", "water"]), "criticality": st.sampled_from(["normal", "highest"]),
    "history_known": st.sampled_from(["yes", "no"]), "power_kw": st.sampled_from([5, 90, 400]),
    "machine_kind": st.sampled_from(["motor", "pump", "fan"]), "route": st.sampled_from(["", "north"]),
})  # fmt: skip
LIFE = st.fixed_dictionaries({
    "x": st.floats(0, 4), "days": st.floats(0.1, 900), "dose_ratio": st.sampled_from([float("nan"), 0.4, 1.0, 3.0]),
    "origin": st.sampled_from(["greasing", "register", "assumed", "replacement"]),
    "interval_reason": st.sampled_from(["", "", "", "speed_beyond_formula", "no_start"]),
})  # fmt: skip
EVENT = st.fixed_dictionaries({
    "kind": st.sampled_from(["inspection", "isolated", "returned", "relubrication"]),
    "time": st.integers(1, 400).map(lambda d: AS_OF - timedelta(days=d)),
    "finding": st.sampled_from([None, "none", "noise", "leak", "water_in_grease", "5.1.2"]),
})  # fmt: skip


@st.composite
def plants(draw, most=3):
    """Bearings, their life, deviations and events."""
    names = [f"B{k}" for k in range(draw(st.integers(1, most)))]
    bearings = [{"bearing_id": name, **draw(BEARING)} for name in names]
    columns = list(bearings[0])
    lines = [",".join([*columns, "designation", "speed_rpm", "commissioned"])]
    lines += [",".join([*(str(b[c]) for c in columns), "6313", "1480", "2015-01-01"]) for b in bearings]
    register = parse_register(Text("b", "\n".join(lines)), None, None, SITE)
    life = []
    for name in names:
        told = draw(LIFE)
        hours = told["days"] * 24
        none = told["interval_reason"] != ""
        x = float("nan") if none else told["x"]
        life.append({
            **told, "bearing_id": name, "x": x, "x_since": x, "rate_per_d": float("nan") if none else x / told["days"],
            "x_calendar": told["days"] / 1461, "calendar_rate_per_d": 1 / 1461, "running_h": hours,
            "last_greased": pd.Timestamp(AS_OF) - pd.Timedelta(days=told["days"]),
            "interval_h": float("nan") if none else hours / max(x, 1e-3), "interval_method": "trade_formula",
            "dose_g": 20.0, "last_grease": None,
        })  # fmt: skip
    rows = [row for name in names for row in draw(deviation_rows(name))]
    events = [
        {"event_id": f"{name}.{k}", "bearing_id": name, "known_at": AS_OF, **event}
        for name in names
        for k, event in enumerate(draw(st.lists(EVENT, max_size=2)))
    ]
    return (
        register.bearings.to_pandas(), register.greases.to_pandas(), pd.DataFrame(life),
        rows_to_table("deviations", rows).to_pandas(), rows_to_table("events", events).to_pandas(),
    )  # fmt: skip


def decided(plant, policy=DEFAULT):
    bearings, greases, life, deviations, events = plant
    reviews = rows_to_table("reviews", []).to_pandas()
    return decide(bearings, greases, events, life, deviations, reviews, SITE, policy, AS_OF)


@given(plants())
@settings(max_examples=40)
def test_every_decision(plant):
    decisions, evidence = decided(plant)
    assert decisions["bearing_id"].tolist() == plant[0]["bearing_id"].tolist()
    odds = decisions[[f"p_{s}" for s in STATES]].to_numpy()
    assert odds.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
    assert (odds > 0).all()
    bits = evidence.groupby("bearing_id")[[f"bits_{s}" for s in OTHERS]].sum().loc[decisions["bearing_id"]]
    assert bits.to_numpy() == pytest.approx(np.log2(odds[:, 1:] / odds[:, :1]), abs=1e-9)
    assert (evidence.groupby("bearing_id")["ordinal"].min() == 0).all()
    silent = evidence[evidence["status"] != "assessed"]
    assert (silent[[f"bits_{s}" for s in OTHERS]] == 0).all(axis=None)
    for _, row in decisions.iterrows():
        left = set(ACTIONS) - {a for code in row["guards"].split() for a in TAKES[code]}
        assert row["call"] in (left or {"inspect"})
        if row["cost_call"] in left:
            assert row["call"] == row["cost_call"]
            assert row["basis"] in ("cost", "time")
        elif row["basis"] != "time":
            assert row["cost_call"] in TAKES[row["basis"]]
        sealed = plant[0].set_index("bearing_id").loc[row["bearing_id"], "seal"] == "sealed"
        assert not (sealed and row["call"] == "grease")
        assert not (sealed and row["grease_g"] > 0)


@given(plants(), st.integers(0, 2**32 - 1))
@settings(max_examples=30)
def test_rows_in_any_order_and_batches_of_one_give_the_same(plant, seed):
    bearings, greases, life, deviations, events = plant
    from condlube.advisory.situation import survey_turns

    bearings = bearings.join(survey_turns(bearings, DEFAULT))
    whole = decided((bearings, greases, life, deviations, events))
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(bearings))
    mixed = decided((
        bearings.iloc[order], greases, life.iloc[order], deviations.sample(frac=1, random_state=seed),
        events.sample(frac=1, random_state=seed),
    ))  # fmt: skip
    singles = [decided((bearings.iloc[[k]], greases, life.iloc[[k]], deviations, events)) for k in range(len(bearings))]
    for other in (mixed, [pd.concat(parts, ignore_index=True) for parts in zip(*singles, strict=True)]):
        for table, again, key in zip(whole, other, (["bearing_id"], ["bearing_id", "ordinal"]), strict=True):
            pd.testing.assert_frame_equal(
                table.sort_values(key, ignore_index=True), again.sort_values(key, ignore_index=True),
                check_exact=True, check_dtype=False,
            )  # fmt: skip


def context_of(x, damaged=DEFAULT.prior.damaged, **told):
    usual = {
        "x": x, "x_since": x, "running_h": 1e6, "interval_h": 4000.0, "days": 1e6, "overfilled_added": 0.02,
        "starved_factor": 1.0, "overfilled_factor": 1.0, "supply_factor": 1.0, "damaged": damaged,
        "machine_fault": 0.008, "instrument_fault": 0.005,
    }  # fmt: skip
    return np.array([[{**usual, **told}[name] for name in CONTEXT]])


def call(context, bits, policy):
    cost = expected_costs(posterior(priors(context, policy), bits), context, policy)
    return int(cheapest(cost, np.ones(cost.shape, dtype=bool))[0])


def any_policy(costs, scale):
    """A policy with other costs and heavier or lighter weights; only one that the parser would accept."""
    grease, hold, inspect = costs
    weights = DEFAULT.weights
    curves = {
        name: replace(c, **{s: tuple(b * scale for b in getattr(c, s)) for s in OTHERS})
        for name in ("ultrasound", "acceleration", "velocity", "temperature", "growth", "impulsiveness")
        for c in [getattr(weights, name)]
    }
    policy = replace(
        DEFAULT,
        weights=replace(weights, **curves),
        cost=replace(
            DEFAULT.cost,
            grease=replace(DEFAULT.cost.grease, damaged=grease),
            hold=replace(DEFAULT.cost.hold, damaged=hold),
            inspect=replace(DEFAULT.cost.inspect, damaged=inspect),
        ),
    )
    try:
        return parse_policy(policy.text, "policy.toml")
    except ConfigurationError:
        assume(False)


VALUES = st.dictionaries(st.sampled_from(SOURCES), st.floats(-20, 40), max_size=8)
POLICIES = st.builds(
    any_policy, st.tuples(st.floats(2, 500), st.floats(2, 500), st.floats(0, 100)), st.floats(0.2, 2.0)
)


def values_array(values):
    array = np.full((1, len(SOURCES)), np.nan)
    for source, value in values.items():
        array[0, POSITION[source]] = value
    return array


@given(st.floats(0.001, 4), VALUES, st.floats(0, 12), POLICIES)
def test_more_evidence_of_damage_never_turns_inspect_into_grease_or_hold(x, values, more, policy):
    context, bits = context_of(x), kernel.weigh_all(values_array(values), tables(policy))
    assume(call(context, bits, policy) == INSPECT)
    bits[0, 0, STATES.index("damaged") - 1] += more
    assert call(context, bits, policy) == INSPECT


@given(st.floats(0.001, 4), VALUES, st.sampled_from(["impulsiveness", "growth"]), st.floats(0, 12), st.floats(0, 12))
def test_a_worse_sign_of_damage_never_turns_inspect_into_grease_or_hold(x, values, source, one, other):
    low, high = sorted((one, other))
    context = context_of(x)
    before, after = ({**values, source: v} for v in (low, high))
    assume(call(context, kernel.weigh_all(values_array(before), tables(DEFAULT)), DEFAULT) == INSPECT)
    assert call(context, kernel.weigh_all(values_array(after), tables(DEFAULT)), DEFAULT) == INSPECT


@given(plants(), st.floats(0.001, 0.999))
@settings(max_examples=25)
def test_temperature_alone_and_lost_data_alone_never_yield_grease(plant, x):
    bearings, greases, life, deviations, events = plant
    told = (deviations["quantity"] == "temperature") | (deviations["status"] != "assessed")
    life = life.assign(x=life["x"].where(life["x"].isna(), x), x_since=life["x_since"].where(life["x"].isna(), x))
    clean = events[~events["finding"].isin(["noise", "leak", "water_in_grease", "5.1.2"])]
    decisions, _ = decided((bearings, greases, life, deviations[told], clean))
    assert "grease" not in set(decisions["call"])


@given(st.floats(0.001, 0.999), st.floats(-100, 150), st.sampled_from([0, 1, 2, 3]))
def test_no_temperature_makes_greasing_the_cheapest(x, temperature, limit):
    values = values_array({"temperature": temperature, "temperature_limit": limit})
    assert call(context_of(x), kernel.weigh_all(values, tables(DEFAULT)), DEFAULT) != GREASE


@given(st.floats(0.001, 0.9999), POLICIES)
@settings(max_examples=50)
def test_without_evidence_the_interval_decides(x, policy):
    nothing = np.zeros((1, len(SOURCES), len(OTHERS)))
    assert call(context_of(x), nothing, policy) != GREASE
    assert call(context_of(1.0), nothing, policy) == GREASE
