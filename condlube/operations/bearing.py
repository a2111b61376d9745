"""Everything about one bearing on one night, from one commit."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import log2

from condlube.operations.desk import Desk, Row, Sight, evidence_of
from condlube.operations.past import decisions_of, events_of, reviews_of
from condlube.operations.queue import leading_state
from condlube.operations.trends import Answer, Trend, trends
from condlube.store.rows import rows


@dataclass(frozen=True)
class Step:
    """One row of the waterfall: ``bits`` of a source, and the ``total`` that stands after it."""

    evidence: Row
    bits: float
    total: float


@dataclass(frozen=True)
class BearingNight:
    """Rows of the schema, and what is derived from them.

    ``state`` is the fault that leads to the call; ``answers`` tell how each point answered each greasing.
    """

    sight: Sight
    bearing: Row
    grease: Row | None
    decision: Row
    evidence: Sequence[Row]
    state: str
    trends: Sequence[Trend]
    answers: Sequence[Answer]
    events: Sequence[Row]
    decisions: Sequence[Row]
    reviews: Sequence[Row]
    points: Sequence[Row]

    @property
    def last_review(self) -> Row | None:
        return self.reviews[-1] if self.reviews else None


def bearing_night(desk: Desk, sight: Sight, bearing_id: str, whole: bool = False) -> BearingNight:
    """The bearing on the night of ``sight``, with ``whole`` with every night of its trends. Raises ``NotThere``."""
    bearing = sight.bearing(bearing_id)
    decision = sight.decision(bearing_id)
    events = events_of(sight.snapshot, bearing)
    with ThreadPoolExecutor(max_workers=2) as beside:  # reading a table waits for the disk and needs no interpreter
        evidence = beside.submit(evidence_of, sight, [bearing_id])
        decisions = beside.submit(decisions_of, sight, bearing_id)
        found, answers = trends(sight, desk.policy(sight.run["policy_digest"]), bearing, events, whole)
    greases = {row["grease_id"]: row for row in rows(sight.register.greases)}
    return BearingNight(
        sight, bearing, greases.get(decision["grease_id"]), decision, evidence.result()[bearing_id],
        leading_state(decision)[0], found, answers, events, decisions.result(), reviews_of(sight.snapshot, bearing_id),
        [row for row in rows(sight.register.points) if row["bearing_id"] == bearing_id],
    )  # fmt: skip


def waterfall(evidence: Sequence[Row], state: str) -> list[Step]:
    """From the prior to log2 of the odds of ``state`` against adequate, in bits, row by row.

    Sources that say nothing about ``state`` are left out, the prior never.
    """
    made: list[Step] = []
    total = 0.0
    for row in evidence:
        bits = row[f"bits_{state}"] or 0.0
        total += bits
        if row["ordinal"] == 0 or bits:
            made.append(Step(row, bits, total))
    return made


def odds_bits(decision: Row, state: str) -> float | None:
    """log2 of the posterior odds of ``state`` against adequate; None where either is not known or zero."""
    one, other = decision[f"p_{state}"], decision["p_adequate"]
    return log2(one / other) if one and other else None
