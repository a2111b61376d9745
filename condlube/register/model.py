"""What a plant says about itself, read and checked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pyarrow as pa


class Text(NamedTuple):
    """A file that was read: its name as the user knows it, and its text."""

    file: str
    text: str


@dataclass(frozen=True)
class Site:
    """The site: its name, its time zone, and the date that stands in where no greasing was ever recorded."""

    name: str
    zone: ZoneInfo
    assumed_last_greasing: date | None = None


@dataclass(frozen=True)
class Register:
    """Bearings, greases and points as schema tables, sorted by key, defaults filled in.

    ``digest`` is the SHA-256 of the content; the order of rows and columns in the files does not change it.
    """

    bearings: pa.Table
    greases: pa.Table
    points: pa.Table
    digest: str
    site: Site
