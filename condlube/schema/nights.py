"""Nights: site-local dates, and the UTC instants that bound them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def midnight(day: date, zone: ZoneInfo) -> datetime:
    """The local midnight that begins ``day``, in UTC."""
    return datetime.combine(day, time(), zone).astimezone(UTC)


def as_of(night: date, zone: ZoneInfo) -> datetime:
    """The local midnight that ends ``night``, in UTC: a night has 23, 24 or 25 hours."""
    return midnight(night + timedelta(days=1), zone)


def night_of(instant: datetime, zone: ZoneInfo) -> date:
    """The latest night that has ended by ``instant``."""
    return instant.astimezone(zone).date() - timedelta(days=1)


def nights_between(first: date, last: date) -> list[date]:
    """Every night from ``first`` to ``last``, both included."""
    return [first + timedelta(days=k) for k in range((last - first).days + 1)]
