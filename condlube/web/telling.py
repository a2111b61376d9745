"""What the pages say about a decision: all of it comes from ``explain``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from condlube.advisory.change import changes
from condlube.advisory.job import job
from condlube.advisory.matters import act_by
from condlube.explain import readers
from condlube.explain.cautions import cautions
from condlube.explain.interval import interval_lines
from condlube.explain.phrases import STATES, fact, why_not
from condlube.explain.sentences import second, sentence
from condlube.operations.bearing import BearingNight
from condlube.operations.desk import Desk, Row, Sight
from condlube.operations.matters import own_matters
from condlube.policy.model import Policy

ANSWERS = {
    "held": "fell and stayed down", "returned": "fell and came back", "none": "no effect", "worse": "rose",
    "unknown": "not raised before: not judged",
}  # fmt: skip
"""How a point answered a greasing, in a word or two."""


MOST_KEPT = 256
"""Bearings of a run for which what is told is kept."""
SECTIONS = {
    "policy": "who wrote it, and why",
    "quality": "when a reading is sound, doubtful or faulty",
    "running": "when a machine counts as running",
    "summary": "how the readings of a day are summed up",
    "reference": "how the expected level is learned",
    "detection": "when a level counts as raised, risen, fallen or silent",
    "life": "how grease life is used up",
    "prior": "how probable each state is before any signal is heard",
    "stability": "how one night is kept from turning a call by itself",
    "weights": "how much each deviation says for each state, in bits",
    "cost": "what each action costs in each state, in needless greasings",
    "guard": "what takes an action away, whatever it costs",
    "due": "by when",
    "dose": "how much, and how it is given",
    "change": "how the nearest change of a call is sought",
}
"""What the sections of a policy are about."""


@dataclass(frozen=True)
class Told:
    """Sentences and lines for the readers of one decision."""

    sentence: str
    second: str
    planner: str
    auditor: str
    technician: Sequence[str]
    changes: Sequence[str]
    guards: Sequence[str]
    cautions: Sequence[str]
    interval: Sequence[str]


def told_of(desk: Desk, sight: Sight, found: BearingNight) -> Told:
    """Everything that ``explain`` says about a bearing's decision, worked out once while its run stands."""
    digest = sight.run["policy_digest"]

    def tell() -> Told:
        by = act_by(found.decision, own_matters(sight).get(found.bearing["bearing_id"]))
        return told(found.decision, found.evidence, found.bearing, desk.policy(digest), digest, by)

    return sight.keep("told", found.bearing["bearing_id"], MOST_KEPT, tell)


def told(decision: Row, evidence: Sequence[Row], bearing: Row, policy: Policy, digest: str, by: date | None) -> Told:
    """Everything that ``explain`` says about a decision; of one that failed only that. ``digest`` is that of the policy
    which decided, ``policy`` what can be read of it, ``by`` the last day for what is called."""
    if not decision["call"]:
        return Told(sentence(decision, evidence), "", "", "", (), (), (), (), ())
    own = policy.for_criticality(bearing["criticality"])
    return Told(
        sentence(decision, evidence),
        second(decision),
        readers.planner(decision, by),
        readers.auditor(decision, digest),
        readers.technician(job(decision, bearing, evidence, own.dose)),
        readers.what_changes(changes(decision, evidence, own), decision),
        readers.why_guarded(decision),
        cautions(bearing, decision) if decision["call"] != "hold" else (),
        interval_lines(bearing, decision, evidence),
    )


def state_name(state: str) -> str:
    """Name of a state."""
    return STATES.get(state, "")


def row_says(row: Row) -> str:
    """What a row of evidence says, or why it says nothing."""
    return fact(row) if row["status"] == "assessed" else why_not(row)
