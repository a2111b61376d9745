"""Rows and dataclasses as JSON: days and instants in ISO 8601, what is not a number as null."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime, timedelta
from math import isfinite
from typing import Any

from fastapi.responses import JSONResponse, Response

from condlube.operations.desk import Sight


def answer(content: Any, status: int = 200) -> Response:
    """A JSON answer."""
    return JSONResponse(encoded(content), status)


def encoded(value: Any) -> Any:
    """The value in what JSON can hold. A sight, the whole night behind a page, is told by its run alone."""
    if isinstance(value, Sight):
        return encoded(value.run)
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: encoded(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return encoded(value._asdict())
    if isinstance(value, Mapping):
        return {str(key): encoded(held) for key, held in value.items()}
    if isinstance(value, list | tuple):
        return [encoded(held) for held in value]
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, float) and not isfinite(value):
        return None
    return value
