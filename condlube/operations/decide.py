"""Deciding a batch of bearings such that one that fails does not lose the others."""

from __future__ import annotations

from datetime import datetime

import pandas as pd
import pyarrow as pa

from condlube.chain import Bearings, Plant, decide
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema, from_frame, rows_to_table
from condlube.schema.nights import night_of

Tables = tuple[pa.Table, pa.Table]


def decide_batch(
    batch: Bearings, plant: Plant, events: pd.DataFrame, reviews: pd.DataFrame, policy: Policy, as_of: datetime
) -> Tables:
    """Decisions and evidence of the batch; when it fails, of its halves, down to the bearing that fails.

    A bearing that cannot be decided has a row without a call, and the error in ``failed``.
    """
    try:
        made = decide(batch, plant, events, reviews, policy, as_of)
    except Exception as error:
        if len(batch.bearings) > 1:
            halves = [decide_batch(half, plant, events, reviews, policy, as_of) for half in _halves(batch)]
            return tuple(pa.concat_tables(tables) for tables in zip(*halves, strict=True))
        failed = {
            "night": night_of(as_of, plant.register.site.zone),
            "bearing_id": batch.bearings["bearing_id"].iloc[0],
            "failed": f"{type(error).__name__}: {error}",
        }
        return rows_to_table("decisions", [failed]), arrow_schema("evidence").empty_table()
    return (
        from_frame("decisions", made.decisions),
        from_frame("evidence", made.evidence),
    )


def _halves(batch: Bearings) -> tuple[Bearings, Bearings]:
    middle = len(batch.bearings) // 2
    first, second = batch.bearings.iloc[:middle], batch.bearings.iloc[middle:]
    return (
        batch._replace(bearings=first.reset_index(drop=True)),
        batch._replace(bearings=second.reset_index(drop=True)),
    )
