"""Machine code of the compiled loops, kept in the store's cache."""

import os
import subprocess
import sys
from pathlib import Path

from small_site import write_small_site

from condlube.operations.compiled import compiling
from condlube.operations.demo import lay_site

NIGHT = """
import sys
from pathlib import Path
from condlube.operations.compiled import compile_all
compile_all()
kept = {path.name for path in Path(sys.argv[2]).rglob("*.nbc")}
sys.path.insert(0, sys.argv[3])
from small_site import NIGHTS, NOW
from condlube.operations.nightly import nightly
nightly(Path(sys.argv[1]), NOW, NIGHTS[:1])
print(len(kept), sorted({path.name for path in Path(sys.argv[2]).rglob("*.nbc")} - kept))
"""


def test_all_that_a_night_needs_is_compiled_beside_it(fresh_site, tmp_path):
    cache = tmp_path / "machine-code"
    run = subprocess.run(
        [sys.executable, "-c", NIGHT, str(fresh_site), str(cache), str(Path(__file__).parent)],
        env=os.environ | {"NUMBA_CACHE_DIR": str(cache)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    count, more = run.stdout.split(maxsplit=1)
    assert int(count) > 10
    assert more.strip() == "[]"


def test_the_cache_is_the_stores_own(fresh_site, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    folder = fresh_site / "store" / "cache" / "compiled"
    folder.mkdir(parents=True)
    (folder / "compiled-before").touch()
    with compiling(fresh_site) as remark:
        assert os.environ["NUMBA_CACHE_DIR"] == str(folder)
    assert remark == ""


def test_a_demo_compiles_while_its_exports_are_written(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    begun = []
    real = subprocess.Popen
    monkeypatch.setattr(subprocess, "Popen", lambda *args, **named: begun.append(args) or real(*args, **named))
    lay_site(tmp_path / "plant")
    with compiling(tmp_path / "plant") as remark:
        assert os.environ["NUMBA_CACHE_DIR"] == str(tmp_path / "plant" / "store" / "cache" / "compiled")
    assert (remark, len(begun)) == ("", 1)


def test_what_is_compiled_is_the_installed_package_whatever_the_working_folder_holds(tmp_path, monkeypatch):
    """Machine code is kept for the file that it was made from: another copy's would be of no use to the night."""
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    (tmp_path / "condlube").mkdir()
    (tmp_path / "condlube" / "__init__.py").touch()
    monkeypatch.chdir(tmp_path)
    begun = []
    real = subprocess.Popen
    monkeypatch.setattr(subprocess, "Popen", lambda *args, **named: begun.append(args[0]) or real(*args, **named))
    lay_site(tmp_path / "plant")
    with compiling(tmp_path / "plant"):
        monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    asked = [*begun[0][:-1], "import condlube; print(condlube.__file__)"]
    found = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert not Path(found.stdout.strip()).is_relative_to(tmp_path)


def test_a_cache_that_cannot_be_written_is_told_and_no_more(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    site = write_small_site(tmp_path)
    (site / "store").mkdir()
    (site / "store" / "cache").write_text("in the way")
    with compiling(site) as remark:
        assert "cannot be written" in remark
        assert "NUMBA_CACHE_DIR" not in os.environ
