"""A policy tried on a night that is decided: the calls that it would have made, from the same rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from condlube.chain import Bearings, Plant, compare, turns
from condlube.detection.references import lookback
from condlube.detection.visible import visible_expected
from condlube.operations.decide import Tables, decide_batch
from condlube.operations.desk import Sight
from condlube.operations.night_summaries import night_summaries
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema
from condlube.store import views

_FAILED = "failed"


class Turned(NamedTuple):
    """A bearing whose call differs between two policies."""

    bearing_id: str
    before: str
    after: str


class Trial(NamedTuple):
    """Calls that differ, of so many ``bearings``."""

    bearings: int
    calls: Sequence[Turned]


def trial(sight: Sight, before: Policy, after: Policy) -> Trial:
    """Calls of the night that ``after`` would turn, beside ``before``."""
    old, new = calls(sight, before), calls(sight, after)
    differing = [Turned(b, old.get(b, _FAILED), call) for b, call in sorted(new.items()) if old.get(b) != call]
    return Trial(len(new), differing)


def calls(sight: Sight, policy: Policy) -> Mapping[str, str]:
    """Call of every bearing by a policy; those stored where the run used it. Nothing is written."""
    if policy.digest == sight.run["policy_digest"]:
        return {b: row["call"] or _FAILED for b, row in sight.decisions.items()}
    decisions, _ = decide_again(sight, policy)
    return {
        b: call or _FAILED
        for b, call in zip(decisions["bearing_id"].to_pylist(), decisions["call"].to_pylist(), strict=True)
    }


def decide_again(sight: Sight, policy: Policy) -> Tables:
    """Decisions and evidence of the night by a policy, from the rows that its run could see: by the run's own policy
    what it decided. Nothing is written."""
    run = sight.run
    end, known_by, night = run["as_of"], run["known_by"], run["night"]
    plant = Plant.of(sight.register)
    zone = sight.register.site.zone
    expected = views.expected(sight.snapshot, known_by).to_pandas()
    first = lookback(visible_expected(expected, end, known_by), end, zone, policy)
    events = views.events_visible(sight.snapshot, end, known_by).to_pandas()
    reviews = views.reviews_visible(sight.snapshot, known_by).to_pandas()
    nothing = arrow_schema("summaries").empty_table()
    seen, usage = night_summaries(sight.snapshot, nothing, plant, events, first, night, known_by)
    _, deviations = compare(plant, seen, expected, events, night, end, known_by, policy)
    whole = Bearings(turns(plant, policy), plant.points, deviations, usage)
    return decide_batch(whole, plant, events, reviews, policy, end)
