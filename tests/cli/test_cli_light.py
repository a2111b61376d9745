"""The command line as people meet it: at once, with help everywhere, and one message and exit code for each fault."""

import json
import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from condlube.cli import main
from condlube.operations.definition import load
from condlube.store.store import Store

HEAVY = ("pandas", "sklearn", "statsmodels", "numba", "pint")
BUDGET_S = 0.5  # design: `condlube --help` under half a second

RUN = """
import contextlib, io, json, sys
from condlube.cli import main
said = io.StringIO()
code = 0
with contextlib.redirect_stdout(said):
    for arguments in json.loads(sys.argv[1]):
        try:
            main(arguments, standalone_mode=False)
        except SystemExit as end:
            code = code or end.code
print(json.dumps({"code": code, "said": said.getvalue(), "modules": sorted(sys.modules)}))
"""


def run(*commands):
    """Run commands one after another in a fresh process: what they said, and the top-level modules it has imported."""
    arguments = json.dumps([[str(word) for word in command] for command in commands])
    done = subprocess.run([sys.executable, "-c", RUN, arguments], capture_output=True, text=True, check=True)
    answer = json.loads(done.stdout.splitlines()[-1])
    assert not answer["code"]
    return answer["said"], {name.partition(".")[0] for name in answer["modules"]}


def commands(group=main, path=()):
    """Every command and group, by the words that call it."""
    found = [path]
    for name in group.list_commands(click.Context(group)) if isinstance(group, click.Group) else ():
        found += commands(group.get_command(click.Context(group), name), (*path, name))
    return found


def invoke(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_help_comes_within_half_a_second():
    """Processor time, which is the wait on a machine that does nothing else; other processes do not change it."""
    program = shutil.which("condlube", path=str(Path(sys.executable).parent))
    assert program, "the console script stands beside the interpreter"
    took = []
    for _ in range(5):
        before, began = os.times(), time.perf_counter()
        subprocess.run([program, "--help"], check=True, capture_output=True)
        waited, after = time.perf_counter() - began, os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        took.append(used or waited)  # Windows does not tell what children used
    assert statistics.median(took) < BUDGET_S


def test_help_imports_nothing_heavy():
    said, imported = run(["--help"])
    assert "Usage:" in said
    assert imported.isdisjoint(HEAVY)


def test_the_help_of_every_command_imports_nothing_heavy():
    said, imported = run(*[[*path, "--help"] for path in commands()])
    assert said.count("Usage:") == len(commands())
    assert imported.isdisjoint(HEAVY)


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_explain_imports_nothing_heavy(decided, form):
    said, imported = run(["explain", decided, "M1-DE", *form])
    assert "M1-DE" in said
    assert "grease" in said
    assert "deltalake" in imported  # it did read the store
    assert imported.isdisjoint(HEAVY)


@pytest.mark.parametrize("path", commands(), ids=" ".join)
def test_every_command_has_help(path):
    result = invoke(*path, "--help")
    assert result.exit_code == 0
    assert result.output.startswith("Usage:")
    assert result.output.splitlines()[2].strip()


def test_0_for_what_was_done(decided):
    assert invoke("--version").exit_code == 0
    assert "no faults" in invoke("check", decided).stdout
    for words in (
        ["check", decided],
        ["explain", decided, "M2-DE"],
        ["worklist", decided],
        ["worklist", decided, "--json"],
    ):
        result = invoke(*words)
        assert (result.exit_code, result.stderr) == (0, "")
        assert result.stdout


def test_1_when_a_bearing_could_not_be_decided(decided, tmp_path, monkeypatch):
    from condlube.operations import decide as module

    real = module.decide

    def decide(batch, *rest):
        if (batch.bearings["bearing_id"] == "M2-DE").any():
            raise ZeroDivisionError("made to fail")
        return real(batch, *rest)

    monkeypatch.setattr(module, "decide", decide)
    site = shutil.copytree(decided, tmp_path / "site")
    result = invoke("nightly", site, "--as-of", "2026-06-04", "--force", "--json")
    assert result.exit_code == 1
    assert json.loads(result.stdout)["nights"][0]["failed"] == {"M2-DE": "ZeroDivisionError: made to fail"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nightly", "{site}", "--from", "2026-06-01"], "--from and --to together"),
        (
            ["nightly", "{site}", "--from", "2026-06-02", "--to", "2026-06-01"],
            "--from 2026-06-02 is after --to 2026-06-01",
        ),
        (["nightly", "{site}", "--as-of", "yesterday"], "'yesterday' is not a date"),
        (["nightly", "{site}/nowhere"], "does not exist"),
        (["explain", "{site}"], "Missing argument 'BEARING'"),
        (["explain", "{site}", "M1-DX"], "did you mean M1-DE"),
        (["explain", "{site}", "M1-DE", "--night", "2020-01-01"], "2020-01-01"),
        (["lubricate"], "No such command"),
    ],
)
def test_2_for_wrong_usage(decided, words, said):
    result = invoke(*(word.format(site=decided) for word in words))
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""


@pytest.mark.parametrize("command", ["check", "nightly"])
def test_2_for_a_faulty_site_with_every_fault(tmp_path, command):
    """One fault in each of four files, and two in one."""
    (tmp_path / "nightly.toml").write_text(
        '[site]\nname = "Mill"\nzone = "Atlantis/Capital"\n[files]\nbearings = "bearings.csv"\npoints = "points.csv"\n'
        'sources = ["long.toml"]\n[night]\nworkers = 0\n'
    )
    (tmp_path / "bearings.csv").write_text("bearing_id,designation,speed_rpm\nA,6310,fast\n")
    (tmp_path / "points.csv").write_text("point_id,bearing_id,tag,quantity,unit\nA.V,A,T,velocity,furlong\n")
    (tmp_path / "long.toml").write_text('[source]\nname = "long"\nfiles = "*.csv"\nreader = "sideways"\n')
    result = invoke(command, tmp_path)
    assert result.exit_code == 2
    assert result.stdout == ""
    head, *faults = result.stderr.splitlines()
    assert head == f"{len(faults)} faults:"
    for file, seen in (
        ("nightly.toml", "Atlantis/Capital"), ("nightly.toml", "workers"), ("bearings.csv", "fast"),
        ("points.csv", "furlong"), ("long.toml", "sideways"),
    ):  # fmt: skip
        assert [line for line in faults if file in line and seen in line], (file, seen)
    assert not (tmp_path / "store").exists()


def test_3_while_another_run_is_at_work(decided, tmp_path):
    site = shutil.copytree(decided, tmp_path / "site")
    definition = load(site)
    with Store.open(definition.store, definition.ledger).writer():
        result = invoke("nightly", site, "--as-of", "2026-06-04")
    assert result.exit_code == 3
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("words", [["explain", "M1-DE"], ["worklist"], ["nightly", "--as-of", "2026-06-04"]])
def test_4_when_the_store_cannot_be_used(decided, tmp_path, words):
    site = shutil.copytree(decided, tmp_path / "site")
    (load(site).store / "ledger.sqlite").write_bytes(b"no ledger at all" * 64)
    result = invoke(words[0], site, *words[1:])
    assert result.exit_code == 4
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert "ledger" in result.stderr
