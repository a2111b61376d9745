"""Reading a policy: complete faults with their lines, site policies, overrides, digests, and the way back to text."""

from dataclasses import fields, is_dataclass, replace
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from condlube.errors import ConfigurationError
from condlube.policy.diff import differences
from condlube.policy.model import MEASURING, Policy
from condlube.policy.parse import key_lines, parse_policy

DEFAULT = files("condlube.policy").joinpath("default.toml").read_text("utf-8")


@pytest.fixture(scope="module")
def policy():
    return parse_policy(DEFAULT, "default.toml")


def site(text):
    return parse_policy('base = "default"\n' + text, "site.toml", DEFAULT)


def faults(text, **arguments):
    with pytest.raises(ConfigurationError) as error:
        parse_policy(text, "site.toml", **({"default": DEFAULT} | arguments))
    return error.value.faults


def test_default_policy_reads_and_reads_back_as_equal(policy):
    again = parse_policy(policy.text, "stored.toml")
    assert again == policy
    assert again.text == policy.text
    assert again.digest == policy.digest


def test_no_dataclass_has_a_numeric_default():
    def walk(kind):
        for field in fields(kind):
            if field.init:
                assert field.default is field.default_factory, f"{kind.__name__}.{field.name}"
                if is_dataclass(field.type):
                    walk(field.type)

    walk(Policy)


def test_a_site_policy_holds_only_what_differs(policy):
    own = site("[cost.grease]\nadequate = 2\n")
    assert own.cost.grease.adequate == 2.0
    assert isinstance(own.cost.grease.adequate, float)
    assert own.cost.grease.damaged == policy.cost.grease.damaged
    assert own.digest != policy.digest
    assert [d.key for d in differences(policy, own)] == ["cost.grease.adequate"]


def test_a_criticality_has_the_whole_policy_with_its_own_numbers(policy):
    own = site("[criticality.highest.guard.extension_cap]\nx_watched = 1.2\nx_moderate = 1.1\n")
    assert own.for_criticality("highest").guard.extension_cap.x_watched == 1.2
    assert own.for_criticality("normal") is own
    assert own.for_criticality(None) is own
    assert own.guard == policy.guard
    assert parse_policy(own.text, "stored.toml") == own
    keys = [d.key for d in differences(policy, own)]
    assert keys == [
        "criticality.highest.guard.extension_cap.x_watched", "criticality.highest.guard.extension_cap.x_moderate"
    ]  # fmt: skip


def test_order_and_layout_do_not_change_the_digest(policy):
    one = site("[cost.grease]\nadequate = 2\ndamaged = 120\n[prior]\ndamaged = 0.004\n")
    other = site("prior.damaged = 4e-3\n[cost]\ngrease = { damaged = 120.0, adequate = 2.0 }\n")
    assert one.digest == other.digest != policy.digest


def test_what_can_change_a_deviation_has_a_digest_of_its_own(policy):
    assert site("[cost.grease]\nadequate = 2\n").measuring_digest == policy.measuring_digest
    assert site("[detection]\nwindow_days = 60\n").measuring_digest != policy.measuring_digest
    assert set(MEASURING) == {"quality", "running", "summary", "reference", "detection"}


def test_all_faults_at_once_with_line_key_seen_and_expected():
    found = faults(
        'base = "default"\n'
        "[life]\n"
        'method = "guess"\n'
        "rate_days = 3.5\n"
        "[cost.grease]\n"
        "adequate = -1\n"
        "adequat = 1\n"
        "[weights.velocity]\n"
        "starved = [0.0, 1.0]\n"
        "[prior]\n"
        "damaged = true\n"
        "[nonsense]\n"
        "a = 1\n"
    )
    assert [(f.line, f.column) for f in sorted(found, key=lambda f: f.line)] == [
        (3, "life.method"), (4, "life.rate_days"), (6, "cost.grease.adequate"), (7, "cost.grease.adequat"),
        (9, "weights.velocity.starved"), (11, "prior.damaged"), (12, "nonsense"),
    ]  # fmt: skip
    assert all(f.file == "site.toml" and f.seen and f.expected for f in found)
    by_key = {f.column: f for f in found}
    assert by_key["life.method"].seen == "guess"
    assert "trade_formula" in by_key["life.method"].expected
    assert by_key["life.rate_days"].expected == "a whole number from 1 to 366"
    assert by_key["weights.velocity.starved"].expected == "8 numbers, one for each anchor"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[cost.inspect]\nadequate = 0.5\n", "cost.inspect"),
        ("[cost.inspect]\ndamaged = 500\n", "cost.inspect.damaged"),
        ("[cost.hold]\ndamaged = 600\n", "cost.hold"),
        ("[prior]\ndamaged_max = 0.001\n", "prior.damaged_max"),
        ("[prior]\nothers_max = 0.5\noverfilled_heavy_dose = 0.6\n", "prior.others_max"),
        ("[weights.ultrasound]\nat = [-12, -6, -3, 0, 3, 5, 8, 12, 35, 16]\n", "weights.ultrasound.at"),
        ("[weights.onset]\nstarved = [1]\n", "weights.onset.starved"),
        ("[guard.extension_cap]\nx_severe = 1.4\n", "guard.extension_cap.x_moderate"),
        ("[cost.hold]\nfull_days = 2\n", "cost.hold.full_days"),
        ("[weights.ultrasound]\nstarved = [0,0,-1.5,-1.5,-0.5,1,4,4.5,4.5,inf]\n", "weights.ultrasound.starved"),
        ("[prior]\ndamaged = nan\n", "prior.damaged"),
        ("[criticality.high.cost.inspect]\nadequate = 0.1\n", "criticality.high.cost.inspect"),
        ("[criticality.urgent.prior]\ndamaged = 0.01\n", "criticality.urgent"),
        ("[criticality.high.detection]\nwindow_days = 60\n", "criticality.high.detection"),
        ("[criticality]\nhigh = 3\n", "criticality.high"),
        ("cost = 3\n", "cost"),
        ("[policy]\nauthor = 7\n", "policy.author"),
    ],
)
def test_what_contradicts_itself_is_a_fault(text, key):
    found = faults('base = "default"\n' + text)
    assert key in [f.column for f in found]
    assert all(f.line for f in found)


def test_a_fault_of_the_policy_is_not_said_again_for_each_criticality():
    found = faults('base = "default"\n[cost.grease]\nadequate = -1\n[criticality.high.prior]\ndamaged = 0.004\n')
    assert [f.column for f in found] == ["cost.grease.adequate"]


@pytest.mark.parametrize("text", ['base = "other"\n', 'base = "default"\n'])
def test_a_base_that_is_not_there_is_a_fault(text):
    assert [f.column for f in faults(text, default=None)] == ["base"]


def test_a_policy_without_base_must_be_complete():
    found = faults("[policy]\n", default=None)
    assert {"policy.author", "cost.grease.adequate", "weights.ultrasound.at"} <= {f.column for f in found}


@pytest.mark.parametrize("text", ["a = [", "a = 1\na = 2\n", "[x\n", "\x00"])
def test_text_that_is_no_toml_is_one_fault(text):
    (fault,) = faults(text)
    assert fault.expected == "valid TOML"


def test_lines_of_keys():
    lines = key_lines('# a\n[x.y]\nb = [\n 1,\n]\n"c" = 2\n[[z]]\n[w] # said\nd.e = 1\n')
    assert lines == {"x.y": 2, "x.y.b": 3, "x.y.c": 6, "z": 7, "w": 8, "w.d.e": 9}


@given(
    st.floats(0, 40), st.floats(1e-6, 0.003), st.text(max_size=30), st.integers(1, 366),
    st.lists(st.floats(-40, 40), min_size=10, max_size=10),
)  # fmt: skip
def test_any_admissible_policy_reads_back_as_equal(policy, cost, damaged, author, days, bits):
    changed = replace(
        policy,
        policy=replace(policy.policy, author=author),
        life=replace(policy.life, rate_days=days),
        prior=replace(policy.prior, damaged=damaged),
        cost=replace(policy.cost, grease=replace(policy.cost.grease, overfilled=cost)),
        weights=replace(policy.weights, ultrasound=replace(policy.weights.ultrasound, damaged=tuple(bits))),
    )
    again = parse_policy(changed.text, "stored.toml")
    assert again == changed
    assert again.digest == changed.digest
