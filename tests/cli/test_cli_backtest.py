"""The commands that replay past nights: what they print, and the exit code and message for each fault."""

import json
import shutil

import pytest
from click.testing import CliRunner

from condlube.cli import main

SPAN = ("--from", "2026-05-26", "--to", "2026-06-04", "--every", "9")


def invoke(*words, **settings):
    return CliRunner().invoke(main, [str(word) for word in words], **settings)


@pytest.fixture(scope="module")
def site(decided, tmp_path_factory):
    """A copy whose cache may be written to."""
    return shutil.copytree(decided, tmp_path_factory.mktemp("replayed") / "site")


@pytest.mark.parametrize("width", [80, 120])
def test_the_answers_fit_the_terminal(site, width):
    result = invoke("backtest", site, *SPAN, env={"COLUMNS": str(width)})
    assert (result.exit_code, result.stderr) == (0, "")
    for question in ("What would we have caught?", "How early?", "false walks?", "How much grease", "How sure"):
        assert question in result.stdout
    assert "No failure on record falls into these nights" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines() if not line.startswith("Files:")) <= width


def test_json_for_a_machine(site):
    result = invoke("backtest", site, *SPAN, "--json")
    said = json.loads(result.stdout)
    assert (said["nights"], said["bearings"], said["failed"]) == (2, 5, 0)
    assert set(said["scores"]) == {"policy", "time only", "fixed alarms", "never inspecting"}


def test_another_policy_is_judged(site, tmp_path):
    own = json.loads(invoke("backtest", site, *SPAN, "--json").stdout)["policy"]
    (tmp_path / "bold.toml").write_text('base = "default"\n[guard.early_rise]\nover_db = 6.0\n')
    result = invoke("backtest", site, *SPAN, "--policy", tmp_path / "bold.toml", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout)["policy"] != own
    (tmp_path / "bad.toml").write_text('base = "default"\n[guard.early_rise]\nover = 6.0\n')
    result = invoke("backtest", site, *SPAN, "--policy", tmp_path / "bad.toml")
    assert result.exit_code == 2
    assert "bad.toml" in result.stderr
    assert "guard.early_rise.over" in result.stderr


def test_too_few_failures_move_nothing_and_say_so(site):
    result = invoke("tune", site, *SPAN, env={"COLUMNS": "80"})
    assert (result.exit_code, result.stderr) == (0, "")
    assert "The policy stays as it is: too few failures" in " ".join(result.stdout.split())
    assert json.loads(invoke("tune", site, *SPAN, "--json").stdout)["proposed"] is None


@pytest.mark.parametrize("command", ["backtest", "tune"])
@pytest.mark.parametrize(
    ("span", "said"),
    [
        (("2026-06-04", "2026-06-01"), "expected a night not before the first one, 2026-06-04"),
        (("2026-06-01", "2026-07-01"), "of which the store holds summaries"),
        (("2024-06-01", "2024-07-01"), "of which the store holds summaries"),
        (("yesterday", "2026-07-01"), "expected YYYY-MM-DD"),
    ],
)
def test_2_for_a_span_that_cannot_be_replayed(site, command, span, said):
    result = invoke(command, site, "--from", span[0], "--to", span[1])
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""


def test_4_without_a_store(decided, tmp_path):
    site = shutil.copytree(decided, tmp_path / "site", ignore=shutil.ignore_patterns("store"))
    result = invoke("backtest", site, *SPAN)
    assert result.exit_code == 4
    assert "no store" in result.stderr


def test_1_when_a_bearing_could_not_be_decided(decided, tmp_path, monkeypatch):
    from condlube.advisory import decide as module

    real = module.dose

    def dose(bearings, *rest):
        if (bearings["bearing_id"] == "M2-DE").any():
            raise ZeroDivisionError("made to fail")
        return real(bearings, *rest)

    monkeypatch.setattr(module, "dose", dose)
    site = shutil.copytree(decided, tmp_path / "site")
    result = invoke("backtest", site, *SPAN)
    assert result.exit_code == 1
    assert "2 bearing-nights could not be decided" in result.stdout
