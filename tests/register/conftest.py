from __future__ import annotations

from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from condlube.register.model import Register, Site, Text
from condlube.register.parse import parse_register

SITE = Site("Mill", ZoneInfo("Europe/Lisbon"))


@pytest.fixture
def register() -> Callable[..., Register]:
    """A register from the text of its files."""

    def make(bearings: str, greases: str | None = None, points: str | None = None, site: Site = SITE) -> Register:
        return parse_register(
            Text("bearings.csv", bearings),
            None if greases is None else Text("greases.csv", greases),
            None if points is None else Text("points.csv", points),
            site,
        )

    return make


@pytest.fixture
def bearing(register: Callable[..., Register]) -> Callable[..., dict[str, Any]]:
    """The one bearing of a register that gives these fields."""

    def make(greases: str | None = None, **fields: str) -> dict[str, Any]:
        given = {"bearing_id": "B1", "designation": "6310", "speed_rpm": "1480"} | fields
        made = register(",".join(given) + "\n" + ",".join(given.values()) + "\n", greases)
        rows: list[dict[str, Any]] = made.bearings.to_pylist()
        return rows[0]

    return make
