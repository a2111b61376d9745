"""A register as one text that does not depend on how its files were laid out, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

import pyarrow as pa

from condlube.register.arrays import arrow_array
from condlube.register.model import Register, Site
from condlube.schema.arrow import arrow_schema

_TABLES = ("bearings", "greases", "points")


def digest(tables: Mapping[str, pa.Table], site: Site) -> str:
    """SHA-256 of the canonical text."""
    return sha256(_text(tables, site).encode()).hexdigest()


def dump(register: Register) -> str:
    """The canonical text: JSON, column by column, rows sorted by key. Its SHA-256 is the register's digest."""
    return _text({name: getattr(register, name) for name in _TABLES}, register.site)


def restore(text: str) -> Register:
    """The register that ``dump`` wrote."""
    held = json.loads(text)
    said = held["site"]
    assumed = said["assumed_last_greasing"]
    site = Site(said["name"], ZoneInfo(said["zone"]), date.fromisoformat(assumed) if assumed else None)
    tables = {name: _table(name, held[name]) for name in _TABLES}
    return Register(**tables, digest=sha256(text.encode()).hexdigest(), site=site)


def _text(tables: Mapping[str, pa.Table], site: Site) -> str:
    assumed = site.assumed_last_greasing and site.assumed_last_greasing.isoformat()
    content = {
        "site": {"name": site.name, "zone": site.zone.key, "assumed_last_greasing": assumed},
        **{name: {column: _plain(tables[name][column]) for column in tables[name].column_names} for name in _TABLES},
    }
    return json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _plain(column: pa.ChunkedArray) -> list[object]:
    values: list[object] = (column.cast(pa.string()) if pa.types.is_date(column.type) else column).to_pylist()
    return values


def _table(name: str, columns: Mapping[str, list[str | float | bool | None]]) -> pa.Table:
    schema = arrow_schema(name)
    return pa.table([arrow_array(_typed(columns[f.name], f.type), f.type) for f in schema], schema=schema)


def _typed(values: list[Any], kind: pa.DataType) -> list[Any]:
    return [value and date.fromisoformat(value) for value in values] if pa.types.is_date(kind) else values
