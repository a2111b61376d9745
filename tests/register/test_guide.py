"""The examples of the operating guide are read as they stand."""

from __future__ import annotations

import re
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from condlube.errors import ConfigurationError
from condlube.register.events import parse_events
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register

GUIDE = Path(__file__).parents[2] / "docs" / "register.md"
BLOCKS = re.findall(r"<!-- file: (\S+) -->\n```csv\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
SITE = Site("Harbour mill", ZoneInfo("Europe/Lisbon"))


def test_the_least_example() -> None:
    (name, text), *_ = BLOCKS
    bearings = parse_register(Text(name, text), None, None, SITE).bearings.to_pylist()
    assert [(b["bearing_id"], b["bore_mm"], b["seal"]) for b in bearings] == [
        ("CV115-HEAD", 25.0, "sealed"), ("PU201-MDE", 80.0, "open"), ("PU201-MNE", 65.0, "open"),
    ]  # fmt: skip


def test_the_full_example() -> None:
    texts = {name: Text(name, text) for name, text in BLOCKS[1:]}
    with pytest.raises(ConfigurationError) as caught:
        parse_register(texts["bearings.csv"], texts["greases.csv"], texts["points.csv"], SITE)
    (fault,) = caught.value.faults
    assert (fault.line, fault.column, fault.seen) == (7, "designation", "special"), "as the guide says"
    accepted = Text("bearings.csv", "".join(texts["bearings.csv"].text.splitlines(keepends=True)[:-1]))
    register = parse_register(accepted, texts["greases.csv"], texts["points.csv"], SITE)
    assert register.points.num_rows == 8
    assert parse_events(texts["events.csv"], register).num_rows == 5
