"""``condlube access``: passwords from standard input, hashed, beside the definition and never in it."""

import stat

import pytest
from click.testing import CliRunner

from condlube.cli import main
from condlube.operations.access import Access

PASSWORD = "correct horse battery"


@pytest.fixture
def site(tmp_path):
    (tmp_path / "nightly.toml").write_text('[site]\nname = "S"\nzone = "UTC"\n[files]\nbearings = "bearings.csv"\n')
    (tmp_path / "bearings.csv").write_text("bearing_id,designation,speed_rpm\n")
    return tmp_path


def run(site, *words, password=PASSWORD):
    return CliRunner().invoke(main, ["access", str(site), *words], input=f"{password}\n")


def test_add_change_list_and_remove(site):
    before = (site / "nightly.toml").read_bytes()
    assert run(site).output == "nobody: the pages stay on this machine\n"
    assert run(site, "ana", "--role", "analyst").exit_code == 0
    assert run(site, "rui").output == "rui is reader\n"
    file = site / "access.json"
    assert PASSWORD not in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert Access.load(file).check("ana", PASSWORD).role == "analyst"
    assert run(site, "ana", password="another long password").output == "ana is analyst\n"
    assert Access.load(file).check("ana", PASSWORD) is None
    assert run(site).output == "analyst  ana\nreader   rui\n"
    assert run(site, "ana", "--remove").exit_code == 0
    assert run(site).output == "reader   rui\n"
    assert (site / "nightly.toml").read_bytes() == before


def test_what_cannot_be_is_refused(site):
    assert "12 to 1024 characters" in run(site, "ana", password="short").output
    assert "no user" in run(site, "nobody", "--remove").output
    assert run(site, "--remove").exit_code == 2
    assert run(site, "ana", "--role", "owner").exit_code == 2
    assert not (site / "access.json").exists()
