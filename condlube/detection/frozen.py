"""Frozen references: rows of the table ``expected`` to model arrays and back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.detection.begins import local_days
from condlube.manipulation.expected import HINGES, OUTSIDE, SIZE, Models, predict
from condlube.manipulation.kernel import Bools, Floats, Ints
from condlube.policy.model import Policy

EXTENDED = "extended"  # why a reference began that only widens the operating range of those before it
_SPEEDS = 5  # at which a model is compared with its parent


@dataclass(frozen=True)
class Frozen:
    """Frozen references, ordered by point and day of freezing.

    ``point`` indexes the signal points; ``first`` and ``last`` are the first and last day of the reference period:
    the reference serves from night ``last`` on. ``rows`` carries the remaining columns of the table.
    """

    models: Models
    point: Ints
    first: Ints
    last: Ints
    rows: pd.DataFrame


def frozen_of(expected: pd.DataFrame, point_ids: Sequence[str], zone: ZoneInfo) -> Frozen:
    """The frozen references of the given points."""
    position = pd.Index(point_ids).get_indexer(pd.Index(expected["point_id"]))
    rows = expected.assign(point=position)[(position >= 0) & (expected["reference_state"] == "frozen").to_numpy()]
    rows = rows.sort_values(["point", "reference_until", "reference_from", "known_at"])
    rows = rows.drop_duplicates(["point", "reference_from"], keep="first").reset_index(drop=True)
    first, until = (local_days(rows[c], zone) for c in ("reference_from", "reference_until"))
    return Frozen(_models(rows), rows["point"].to_numpy(dtype=np.int64), first, until - 1, rows)


def _models(rows: pd.DataFrame) -> Models:
    made = blank(len(rows))
    columns = ("coefficients", "covariance", "knots", "operating_low", "operating_high")
    beta, covariance, knots, low, high = (rows[c].to_numpy(dtype=object) for c in columns)
    size = np.array([len(own) for own in beta], dtype=np.int64)
    for p in np.unique(size).tolist():  # without hinges 4, and one more for each of them
        of = np.flatnonzero(size == p)
        made.coefficients[of, :p] = _stacked(beta[of], p)
        made.covariance[of, :p, :p] = _stacked(covariance[of], p * p).reshape(-1, p, p)
        made.knots[of, : p - 4] = _stacked(knots[of], p - 4)
    if len(rows):
        made.low[:], made.high[:] = _stacked(low, 3), _stacked(high, 3)
    made.spread[:] = rows["reference_spread"]
    made.correlation[:] = rows["autocorrelation"]
    made.nights[:] = rows["nights"]
    made.cells[:] = rows["n"]
    return made


def _stacked(lists: np.ndarray, width: int) -> Floats:
    """Lists of one length, an array row each."""
    return np.concatenate(lists).astype(float).reshape(-1, width) if width else np.empty((len(lists), 0))


def blank(count: int) -> Models:
    """Room for ``count`` models."""
    return Models(
        np.zeros((count, SIZE)), np.zeros((count, SIZE, SIZE)), np.full((count, HINGES), np.inf),
        np.full((count, 3), np.nan), np.full((count, 3), np.nan), np.ones(count), np.zeros(count),
        np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64),
    )  # fmt: skip


def stack(parts: Iterable[Models]) -> Models:
    """Several sets of models as one."""
    return Models(*(np.concatenate(arrays) for arrays in zip(*parts, strict=True)))


def model_columns(models: Models, r: int) -> dict[str, object]:
    """Columns of the table ``expected`` that hold model ``r``."""
    knots = [float(k) for k in models.knots[r] if k < np.inf]
    p = 4 + len(knots)
    return {
        "coefficients": models.coefficients[r, :p].tolist(),
        "knots": knots,
        "covariance": models.covariance[r, :p, :p].ravel().tolist(),
        "operating_low": models.low[r].tolist(),
        "operating_high": models.high[r].tolist(),
        "reference_spread": float(models.spread[r]),
        "autocorrelation": float(models.correlation[r]),
        "nights": int(models.nights[r]),
        "n": int(models.cells[r]),
    }


def margins_of(quantities: Sequence[str], policy: Policy) -> Floats:
    """How far outside the range seen a level is still compared: speed, load, ambient for each point."""
    reference = policy.reference
    return np.array(
        [[reference.speed_margin, reference.load_margin, reference.ambient_margin_k.of(q)] for q in quantities]
    ).reshape(-1, 3)


def difference(models: Models, c: Ints, p: Ints, margins: Floats, reach: Bools) -> tuple[Floats, Floats]:
    """How much higher models ``c`` expect than their parents ``p`` over c's operating range, and the uncertainty.

    Mean over five speeds of the range; NaN where the parent has seen nothing like them, unless it is to
    ``reach`` so far.
    """
    low, high = models.low[c], models.high[c]
    operating = np.repeat(0.5 * (low + high), _SPEEDS, axis=0)
    step = np.tile((np.arange(_SPEEDS) + 0.5) / _SPEEDS, len(c))
    operating[:, 0] = np.repeat(low[:, 0], _SPEEDS) + step * np.repeat(high[:, 0] - low[:, 0], _SPEEDS)
    wide = np.repeat(margins, _SPEEDS, axis=0)
    ours, our_variance, _ = predict(models, np.repeat(c, _SPEEDS), operating, wide)
    theirs, their_variance, place = predict(models, np.repeat(p, _SPEEDS), operating, wide)
    seen = (place < OUTSIDE) | (np.repeat(reach, _SPEEDS) & (place == OUTSIDE))
    count = seen.reshape(-1, _SPEEDS).sum(axis=1).astype(float)
    count[count == 0] = np.nan
    over = np.where(seen, ours - theirs, 0.0).reshape(-1, _SPEEDS).sum(axis=1) / count
    variance = np.where(seen, our_variance + their_variance, 0.0).reshape(-1, _SPEEDS).sum(axis=1) / count
    return over, np.sqrt(variance)
