from __future__ import annotations

from pathlib import Path

import pytest

from condlube.errors import CondlubeError
from condlube.operations.check import check
from condlube.operations.init import init


def test_the_starter_site_is_whole_and_free_of_faults(tmp_path: Path) -> None:
    written = init(tmp_path / "new" / "site")
    assert {path.relative_to(tmp_path / "new" / "site").as_posix() for path in written} == {
        "nightly.toml", "ingest/historian_long.toml", "ingest/historian_wide.toml", "policies/example.toml",
        "register/bearings.csv", "register/greases.csv", "register/points.csv", "register/events.csv",
    }  # fmt: skip
    assert check(tmp_path / "new" / "site").register.bearings.num_rows == 6


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "nightly.toml").write_text("mine")
    with pytest.raises(CondlubeError, match=r"already holds nightly\.toml"):
        init(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["nightly.toml"]
    assert (tmp_path / "nightly.toml").read_text() == "mine"


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "site").write_text("")
    with pytest.raises(CondlubeError, match="is a file"):
        init(tmp_path / "site")
