"""What a replay says, in words: the questions of a reliability engineer, and the figures beside the nulls."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from math import isfinite
from textwrap import shorten

from condlube.backtest.bootstrap import Interval
from condlube.backtest.judge import POLICY, Judged
from condlube.backtest.scores import SHARE

CANNOT_KNOW = (
    "The calls are judged against a history in which other decisions were taken: where the plant greased or replaced a "
    "bearing in time, nobody knows whether it would have failed.",
    "A matter that nobody looked at and that came to nothing counts as false; a defect may have been cured unrecorded.",
    "Work that nobody recorded is not seen. A bearing replaced without a finding leaves its matters open.",
    "Readings count from when they were known. Where an old export was loaded later, that instant is assumed from the "
    "declared delay of its source.",
    "The register is taken as it stands today; earlier versions of it are not replayed.",
    "Where the plant greases before its intervals end, extensions and greasings called by time alone cannot be judged.",
)
"""What a replay cannot know: said in every report."""
NOTHING = "nothing to judge"
NARROWEST = 20
"""Columns of text that the name of a figure is given at least."""
Row = tuple[str, str, list[Interval]]
"""Name of a figure, its unit, and its value for each of several callers."""


def number(value: float) -> str:
    """A figure with the two digits that a history of some years can carry."""
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.2g}"


def parts(interval: Interval, unit: str) -> tuple[str, str]:
    """A figure and its range as people write them; no range where there is nothing to judge."""
    if not isfinite(interval.value):
        return NOTHING, ""
    if unit == SHARE:
        value, low, high = (f"{100 * v:.0f}" for v in interval)
        return f"{value} %", f"{low} to {high}"
    value, low, high = (number(v) for v in interval)
    return value, f"{low} to {high}"


def figure(interval: Interval, unit: str) -> str:
    """Both in one."""
    value, span = parts(interval, unit)
    return f"{value} ({span})" if span else value


def answers(judged: Judged) -> dict[str, str]:
    """The questions of the morning after and their answers."""
    return {
        "What would we have caught?": _caught(judged),
        "How early?": _early(judged),
        "What did it cost in false walks?": _walks(judged),
        "How much grease would we not have used?": _grease(judged),
        "What would it have cost?": _cost(judged),
        "How sure is that?": _sure(judged),
    }


def table_of(judged: Judged) -> list[Row]:
    """Every score of the policy and the nulls, by caller."""
    return [
        (name, score.unit, [own[name].interval for own in judged.scores.values()])
        for name, score in judged.scores[POLICY].items()
    ]


def side_by_side(callers: Sequence[str], rows: Sequence[Row], width: int) -> list[str]:
    """Figures of several callers as lines of text: ranges beside the figures where the width allows it, else below;
    callers that do not fit stand in a second block."""
    names = [f"{name}, {unit}" for name, unit, _ in rows]
    cells = [[parts(interval, unit) for interval in own] for _, unit, own in rows]
    first = max(len(name) for name in names)
    beside = [[f"{value} ({span})" if span else value for value, span in own] for own in cells]
    across = 2 + max(len(text) for own in (callers, *beside) for text in own)
    if first + len(callers) * across <= width:
        heads = " " * first + "".join(f"{caller:>{across}}" for caller in callers)
        return [heads, *(f"{n:{first}}" + "".join(f"{c:>{across}}" for c in own)
                         for n, own in zip(names, beside, strict=True))]  # fmt: skip
    across = 2 + max(len(text) for own in cells for pair in own for text in pair if text != NOTHING)
    most = max((width - NARROWEST) // across, 1)
    if len(callers) > most:
        halves = slice(None, most), slice(most, None)
        return [line for half in halves for line in side_by_side(
            callers[half], [(name, unit, own[half]) for name, unit, own in rows], width)]  # fmt: skip
    first = max(min(first, width - len(callers) * across), NARROWEST)
    split = [caller.rsplit(" ", 1) for caller in callers]
    above = "".join(f"{words[0] if len(words) > 1 else '':>{across}}" for words in split)
    lines = [" " * first + above] if above.strip() else []
    lines.append(" " * first + "".join(f"{words[-1]:>{across}}" for words in split))
    for (name, unit, _), own in zip(rows, cells, strict=True):
        lines.append(f"{name:{first}.{first}}" + "".join(f"{'-' if v == NOTHING else v:>{across}}" for v, _ in own))
        said = shorten(unit, first - 2, placeholder="")
        lines.append((f"  {said:{first - 2}}" + "".join(f"{s:>{across}}" for _, s in own)).rstrip())
    return lines


def _caught(judged: Judged) -> str:
    failures = _outcomes(judged, "failure")
    score = judged.scores[POLICY]["caught"]
    outside = f" {failures['open']} fall outside the nights replayed." if failures["open"] else ""
    if not score.events:
        return f"No failure on record falls into these nights: nothing can be said.{outside}"
    others = ", ".join(
        f"{name} {round(own['caught'].above.sum())}" for name, own in judged.scores.items() if name != POLICY
    )
    return (
        f"{failures['early']} of {score.events} failures in time, {figure(score.interval, SHARE)}; "
        f"{failures['late']} late, {failures['missed']} missed.{outside} In time by others: {others}."
    )


def _early(judged: Judged) -> str:
    lead = judged.leads[POLICY]
    if not lead.warned:
        return "No failure was warned of."
    least = f" {lead.censored} of them stood before the lead time begins: they count as at least that." * bool(
        lead.censored
    )
    if not isfinite(lead.median_d):
        return f"More than half of the {lead.warned} warned failures were warned of at the lead time's limit.{least}"
    return (
        f"Half of the {lead.warned} warned failures were warned of {lead.median_d:.0f} days ahead or earlier, the "
        f"shortest warning was {lead.days.min():.0f} {'day' if lead.days.min() == 1 else 'days'}.{least}"
    )


def _walks(judged: Judged) -> str:
    found, false = _outcomes(judged, "inspect"), judged.scores[POLICY]["false inspects"]
    surveys = judged.scores[POLICY]["surveys"].interval
    return (
        f"{figure(false.interval, '')} false inspections per bearing-year. Of {sum(found.values())} asked for "
        f"{found['true']} proved true, {found['false']} false, and of {found['open']} the record does not tell. "
        f"Surveys, asked for by gaps in the record and not by the bearing: {figure(surveys, '')} per bearing-year. "
        f"Greasings called for nothing: {figure(judged.scores[POLICY]['false greases'].interval, '')}."
    )


def _grease(judged: Judged) -> str:
    given = _outcomes(judged, "greasing")
    return (
        f"Of {figure(judged.recorded_g, '')} g per bearing-year on record, {figure(judged.put_off_g, '')} g went into "
        f"quiet bearings that the policy would have left alone. Of {sum(given.values())} greasings on record "
        f"{given['needless']} met a quiet bearing and {given['needed']} brought a raised level down. The intervals "
        f"alone ask for {figure(judged.time_only_g, '')} g."
    )


def _cost(judged: Judged) -> str:
    own = judged.scores[POLICY]["cost"]
    return (
        f"{figure(own.interval, '')} needless greasings' worth per bearing-year, by the policy's own costs. Beside it: "
        f"{others_cost(judged.saved)}"
    )


def others_cost(saved: Mapping[str, Interval]) -> str:
    """What others cost more or less, and how to read it."""
    others = "; ".join(f"{name} {more_or_less(interval)}" for name, interval in saved.items())
    return f"{others}. A range from less to more decides nothing."


def more_or_less(interval: Interval) -> str:
    """A difference as people say it: by how much more, or less, and the range of that."""
    if not isfinite(interval.value):
        return NOTHING
    value, low, high = (number(abs(v)) for v in interval)
    if interval.low >= 0:
        return f"{value} more ({low} to {high})"
    if interval.high <= 0:
        return f"{value} less ({high} to {low})"
    return f"{value} {'more' if interval.value >= 0 else 'less'} ({low} less to {high} more)"


def _sure(judged: Judged) -> str:
    caught, years = judged.scores[POLICY]["caught"], judged.grid.years.sum()
    return (
        f"Ranges are 90 % intervals over {len(judged.grid.bearing_ids)} bearings and {number(years)} bearing-years, "
        f"with {caught.events} failures. One failure more or less that nobody is warned of moves the cost by "
        f"{number(judged.failure_cost / years)} per bearing-year."
    )


def _outcomes(judged: Judged, what: str) -> Counter[str]:
    return Counter(judged.outcomes.loc[judged.outcomes["what"] == what, "outcome"])
