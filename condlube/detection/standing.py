"""Notes on rises that have stood for a month: how they began would be forgotten once that lies behind the window."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from condlube.detection.begins import EPOCH, Begin, begins_of, local_days
from condlube.detection.deviations import compared, concluded
from condlube.detection.lasting import LOOKED, STANDING
from condlube.detection.series import Cells
from condlube.manipulation.expected import residual_of
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema
from condlube.schema.nights import midnight
from condlube.schema.words import ONSETS, OPERATING_CHANGED

_EVERY = 30  # days from one look to the next; a rise is noted when it is at least as old, and so within the window


def standing(
    cells: Cells, begins: list[list[Begin]], summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame,
    points: pd.DataFrame, last_day: int, zone: ZoneInfo, policy: Policy,
) -> pd.DataFrame:  # fmt: skip
    """New rows of the table ``expected``: one for each rise that stands, and one for each look itself.

    ``cells`` are those of ``summaries``, ``begins`` those of their points, ``expected`` holds the references up to
    ``last_day``. Looks are made on fixed days, so that a history in one call gives what a call each night gives.
    """
    names = arrow_schema("expected").names
    looked = expected.loc[expected["reference_state"] == LOOKED, "reference_until"]
    frozen = expected.loc[expected["reference_state"] == "frozen", "reference_until"]
    begun = looked.max() if len(looked) else frozen.min()
    if pd.isna(begun) or summaries.empty:
        return pd.DataFrame(columns=names)
    since = int(local_days(pd.Series([begun]), zone)[0]) - 1
    looks = [day for day in range(since + 1, last_day + 1) if day % _EVERY == 0]
    if not looks:
        return pd.DataFrame(columns=names)
    inspections = begins_of(cells.points, events, 0, zone, ("inspection",))
    nights = [date.fromordinal(day + EPOCH) for day in looks]
    seen = cells.between(looks[0] - policy.detection.window_days - 1, looks[-1])
    found = compared(seen, expected, begins, inspections, nights, zone, policy)
    notes = expected[expected["reference_state"] == STANDING]
    made = []
    for night, day in zip(nights, looks, strict=True):  # each sees the notes of those before it
        told = concluded(found, found.rows[found.rows["day"] == day], notes, begins, zone, policy)
        rows = _rows(told, _look(night, summaries, zone), str(points["point_id"].min()), zone)
        made.append(pd.DataFrame(rows, columns=names))
        notes = pd.concat([notes, made[-1]], ignore_index=True) if len(notes) else made[-1]
    return pd.concat(made, ignore_index=True)


def _rows(found: pd.DataFrame, look: dict[str, Any], first: str, zone: ZoneInfo) -> list[dict[str, Any]]:
    """The look itself, kept under the ``first`` point, and a row for each rise that stands in ``found``."""
    age = found["night"] - pd.to_datetime(found["onset_date"])
    stands = found["onset"].isin(ONSETS[1:]) & (age >= pd.Timedelta(days=_EVERY))
    return [look | {"point_id": first}] + [
        look | {
            "point_id": row.point_id, "reference_state": STANDING, "onset": row.onset, "share": row.share,
            "reference_from": pd.Timestamp(midnight(row.onset_date.date(), zone)),
            "taken_off": residual_of(row.quantity, row.deviation) if row.reason == OPERATING_CHANGED else None,
        }
        for row in found[stands].itertuples()
    ]  # fmt: skip


def _look(night: date, summaries: pd.DataFrame, zone: ZoneInfo) -> dict[str, Any]:
    closed = pd.Timestamp(midnight(night + timedelta(days=1), zone))
    known = summaries.loc[pd.to_datetime(summaries["date"]) <= pd.Timestamp(night), "known_at"].max()
    return {
        "reference_from": pd.Timestamp(midnight(night, zone)), "reference_until": closed, "reference_state": LOOKED,
        "known_at": closed if pd.isna(known) else max(closed, known),
    }  # fmt: skip
