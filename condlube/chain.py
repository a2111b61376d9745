"""From readings to calls in three steps: measure, compare, decide.

    readings --measure--> summaries --compare--> deviations --decide--> decisions and evidence
                             |          |
                             |          +-- expected levels, frozen, of every point
                             +-- life used since the last greasing

``measure`` works on whole machines, ``decide`` on any bearings; only ``compare`` sees several bearings at once
(families, common shifts), so that batches and workers never change a result. Every step is a function of its
arguments: a night is ``as_of``, and rows that the night may not see are not handed in.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.advisory.decide import Decided, decide_nights, in_order
from condlube.advisory.decide import decide as call
from condlube.advisory.guards import FACTS
from condlube.advisory.situation import survey_turns
from condlube.assessment.life import life, life_nights
from condlube.assessment.nights import Nights
from condlube.assessment.sources import SOURCES, FloatArray
from condlube.detection.begins import EPOCH
from condlube.detection.deviations import deviations
from condlube.detection.references import advance
from condlube.detection.series import cells_of
from condlube.detection.visible import visible_expected
from condlube.manipulation.summarise import summarise
from condlube.policy.model import Policy
from condlube.register.model import Register


class Plant(NamedTuple):
    """The register as the chain works with it."""

    register: Register
    bearings: pd.DataFrame
    greases: pd.DataFrame
    points: pd.DataFrame

    @classmethod
    def of(cls, register: Register) -> Plant:
        return cls(register, register.bearings.to_pandas(), register.greases.to_pandas(), register.points.to_pandas())


class Bearings(NamedTuple):
    """Some of the plant's bearings with everything that concerns them: a batch of ``decide``.

    ``bearings`` carries the columns of ``survey_turns`` of the whole plant, ``usage`` the summaries that tell running
    hours, speed and temperature since the last greasing.
    """

    bearings: pd.DataFrame
    points: pd.DataFrame
    deviations: pd.DataFrame
    usage: pd.DataFrame


def measure(
    readings: pd.DataFrame, points: pd.DataFrame, bearings: pd.DataFrame, days: Iterable[date], zone: ZoneInfo,
    policy: Policy, earlier: pd.DataFrame,
) -> pd.DataFrame:  # fmt: skip
    """Summaries of ``days`` for whole machines: sound running readings by operating cell (data manipulation)."""
    return summarise(readings, points, bearings, days, zone, policy, earlier)


def compare(
    plant: Plant, summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame, night: date,
    as_of: datetime, known_by: datetime, policy: Policy,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """New expected levels, and how every point departs from what is expected on the night (state detection)."""
    zone = plant.register.site.zone
    visible = visible_expected(expected, as_of, known_by)
    cells = cells_of(summaries, plant.points, plant.bearings, night.toordinal() - EPOCH, policy)
    learned = advance(summaries, visible, events, plant.points, plant.bearings, as_of, zone, policy, cells)
    references = pd.concat([visible, learned], ignore_index=True) if len(learned) else visible
    found = deviations(summaries, references, events, plant.points, plant.bearings, [night], zone, policy, cells)
    return learned, found


def decide(
    batch: Bearings, plant: Plant, events: pd.DataFrame, reviews: pd.DataFrame, policy: Policy, as_of: datetime
) -> Decided:
    """Life used up, odds of each state, expected cost of each action, guards, the call and what to do (assessment,
    prognosis, advisory)."""
    site = plant.register.site
    used = life(batch.bearings, plant.greases, batch.points, batch.usage, events, batch.deviations, site, policy, as_of)
    return call(batch.bearings, plant.greases, events, used, batch.deviations, reviews, site, policy, as_of)


def decide_many(
    nights: Nights, plant: Plant, usage: pd.DataFrame, deviations: pd.DataFrame, reviews: pd.DataFrame, policy: Policy
) -> tuple[pd.DataFrame, FloatArray]:
    """The decisions of ``decide`` for many nights of every bearing at once; beside them what was weighed of each source
    and ``guards.FACTS`` [columns, rows].

    ``usage`` is what the last night sees; ``reviews`` name in ``which`` the row of ``nights`` that sees them.
    """
    used = life_nights(nights, plant.greases, plant.points, usage, deviations, plant.register.site, policy)
    beside = np.empty((len(SOURCES) + len(FACTS), len(used)))
    made = []
    for part in decide_nights(nights, plant.greases, used, deviations, reviews, policy):
        beside[: len(SOURCES), part.at] = np.where(part.evidence.shown, part.evidence.values, np.nan).T
        beside[len(SOURCES) :, part.at] = part.facts.T
        made.append((part.at, part.decisions))  # the evidence, which is large, goes with its part
    return in_order(made), beside


def turns(plant: Plant, policy: Policy) -> pd.DataFrame:
    """The plant's bearings with their turn in the survey of unknown histories, which depends on all of them."""
    return plant.bearings.join(survey_turns(plant.bearings, policy))
