"""``condlube policy diff``: calls of a night under another policy, and what turns them."""

import json

import pytest
from click.testing import CliRunner
from small_site import NIGHTS, NOW

from condlube.cli import main
from condlube.operations.definition import default_policy
from condlube.operations.desk import Desk
from condlube.operations.nightly import nightly
from condlube.operations.policy_diff import policy_diff
from condlube.operations.trial import decide_again
from condlube.policy.diff import differences, with_section
from condlube.policy.parse import parse_policy
from condlube.store.rows import rows


@pytest.fixture
def deaf(tmp_path):
    """A policy that gives ultrasound no weight and lets nothing force a call."""
    zeros = "\n".join(f"{s} = {[0.0] * 10}" for s in ("starved", "overfilled", "supply_fault", "damaged",
                                                      "machine_fault", "instrument_fault"))  # fmt: skip
    path = tmp_path / "deaf.toml"
    path.write_text(f'base = "default"\n[weights.ultrasound]\n{zeros}\n[guard.early_rise]\nover_db = 60.0\n')
    return path


def test_the_same_policy_changes_nothing(small_site):
    folder, _ = small_site
    made = policy_diff(folder, "in_force", "default")
    assert (made.night, list(made.keys), list(made.calls), made.bearings) == (NIGHTS[-1], [], [], 5)


def test_the_rise_is_not_heard_and_the_section_is_named(small_site, deaf):
    folder, _ = small_site
    made = policy_diff(folder, "in_force", str(deaf))
    turned = {t.bearing_id: t for t in made.calls}
    assert set(turned) == {"M1-DE"}
    assert (turned["M1-DE"].before, turned["M1-DE"].after) == ("grease", "hold")
    assert turned["M1-DE"].by == ()  # the weight alone leaves early_rise standing, the guard alone the evidence
    assert turned["M1-DE"].says_before.startswith("Grease")
    assert turned["M1-DE"].says_after.startswith("Hold")


def test_a_plant_without_any_reading_can_be_compared(fresh_site, deaf):
    (fresh_site / "points.csv").write_text("point_id,bearing_id,tag,quantity,unit\n")
    night = nightly(fresh_site, NOW, NIGHTS[-1:]).mornings[0]
    assert list(policy_diff(fresh_site, "in_force", str(deaf)).calls) == []
    assert len(night.decisions) == 5


def test_text_and_json_tell_the_same(small_site, deaf):
    folder, _ = small_site
    words = ["policy", "diff", "default", str(deaf), str(folder)]
    told = [CliRunner().invoke(main, [*words, *more]) for more in ((), ("--json", "--night", str(NIGHTS[-1])))]
    assert [one.exit_code for one in told] == [0, 0]
    assert "M1-DE: grease > hold" in told[0].output
    assert "guard.early_rise.over_db: 8 > 60" in told[0].output
    assert json.loads(told[1].output)["calls"][0]["bearing_id"] == "M1-DE"


def test_a_name_that_is_not_there(small_site):
    folder, _ = small_site
    found = CliRunner().invoke(main, ["policy", "diff", "default", "nothing", str(folder)])
    assert found.exit_code == 2
    assert "no policy 'nothing'" in found.output


def test_one_section_of_another_policy_for_every_criticality():
    one = parse_policy(default_policy(), "one")
    text = 'base = "default"\n[due]\nurgent_days = 1.0\n[criticality.high.due]\nsupply_days = 1.0\n[dose]\nshots = 5\n'
    other = parse_policy(text, "other", default_policy())
    made = with_section(one, other, "due")
    assert {d.key for d in differences(made, other)} == {"dose.shots"}
    assert made.for_criticality("high").due.supply_days == 1.0
    assert made.for_criticality("high").dose == one.dose


def test_an_old_decision_is_made_again_from_the_ledger_to_the_last_digit(small_site):
    """Policy text, register and events as stored with the run give the stored decisions and evidence, bit for bit."""
    folder, _ = small_site
    desk = Desk(folder)
    for night in NIGHTS:
        sight = desk.sight(night)
        again = decide_again(sight, desk.policy(sight.run["policy_digest"]))
        for name, table in zip(("decisions", "evidence"), again, strict=True):
            stored = rows(
                sight.snapshot.read(name, None, [("run_id", "=", sight.run["run_id"]), ("night", "=", night)])
            )
            made = [{**row, "run_id": sight.run["run_id"]} for row in rows(table)]
            assert sorted(map(repr, made)) == sorted(map(repr, stored))
