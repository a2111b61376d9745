"""Policy sections of the manipulation stage."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Quality:
    """Section ``[quality]``: when a reading or a signal is sound."""


@dataclass(frozen=True)
class Running:
    """Section ``[running]``: when a machine counts as running."""


@dataclass(frozen=True)
class Summary:
    """Section ``[summary]``: daily summaries."""
