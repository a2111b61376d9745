"""Which expected-level rows a night may see: none that a later night brought."""

from __future__ import annotations

from datetime import datetime, timedelta

import pandas as pd

from condlube.detection.lasting import LOOKED, STANDING


def visible_expected(expected: pd.DataFrame, as_of: datetime, known_by: datetime) -> pd.DataFrame:
    """Rows of the table ``expected`` that the nights up to ``as_of`` had brought, as known by ``known_by``."""
    closed = expected["reference_until"]
    state = expected["reference_state"]
    begun = expected["reference_from"] < as_of
    brought = (
        (state.isin(["frozen", STANDING, LOOKED]) & (closed <= as_of))
        | ((state == "ended") & (closed < as_of))
        | ((state == "collecting") & begun)
        | ((state == "open") & (begun | (expected["known_at"] <= as_of + timedelta(days=1))))
    )
    return expected[brought & (expected["known_at"] <= known_by)].reset_index(drop=True)
