"""Policy sections of the detection stage."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Reference:
    """Section ``[reference]``: reference periods and expected levels."""


@dataclass(frozen=True)
class Detection:
    """Section ``[detection]``: deviations, growth, onset, charts, responses and common shifts."""
