"""Filters as SQL for the Delta engine, and the months that they can touch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime
from math import isfinite
from typing import Any

from condlube.store.layout import MONTH

Filter = tuple[str, str, Any]
_COMPARISONS = ("=", "!=", "<", "<=", ">", ">=")
# What a comparison of an instant or date says about its month.
_MONTH_COMPARISONS = {"=": "=", "<": "<=", "<=": "<=", ">": ">=", ">=": ">=", "in": "in"}


def sql(filters: Sequence[Filter], month_of: str) -> str | None:
    """One SQL predicate that holds where all ``filters`` hold; None without filters.

    A filter is ``(column, op, value)`` with op one of ``= != < <= > >= in``, ``not in``. A comparison with None asks
    for null (``=``) or not null (``!=``). Filters on ``month_of`` are repeated for the month partition, so that other
    months are not even opened.
    """
    terms = [_term(column, op, value) for column, op, value in filters]
    for column, op, value in filters:
        if column == month_of and op in _MONTH_COMPARISONS and value is not None:
            months = [month(v) for v in value] if op == "in" else month(value)
            terms.append(_term(MONTH, _MONTH_COMPARISONS[op], months))
    return " AND ".join(terms) or None


def month(value: date | datetime) -> str:
    """The month partition of a date, or of an instant in UTC, as YYYY-MM."""
    if isinstance(value, datetime):
        value = _utc(value)
    return f"{value:%Y-%m}"


def _term(column: str, op: str, value: Any) -> str:
    name = '"' + column.replace('"', '""') + '"'
    if op in ("in", "not in"):
        wanted = sorted({_literal(v) for v in value})
        if not wanted:
            return "false" if op == "in" else "true"
        return f"{name} {op.upper()} ({', '.join(wanted)})"
    if op not in _COMPARISONS:
        raise ValueError(f"filter on {column}: {op!r} is not one of {', '.join(_COMPARISONS)}, in, not in")
    if value is None:
        if op not in ("=", "!="):
            raise ValueError(f"filter on {column}: null can only be compared by = or !=")
        return f"{name} IS {'NOT ' if op == '!=' else ''}NULL"
    return f"{name} {op} {_literal(value)}"


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    if isinstance(value, datetime):
        return f"arrow_cast('{_utc(value):%Y-%m-%dT%H:%M:%S.%f}Z', 'Timestamp(Microsecond, Some(\"UTC\"))')"
    if isinstance(value, date):
        return f"DATE '{value.isoformat()}'"
    if isinstance(value, int) or (isinstance(value, float) and isfinite(value)):
        return repr(value)
    raise ValueError(f"a filter cannot compare with {value!r}")


def _utc(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError(f"filter on the local time {value}: give it a time zone")
    return value.astimezone(UTC)
