"""The report of a replay: one self-contained page that answers a reliability engineer's questions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from html import escape
from math import isfinite
from typing import Any

from condlube.backtest import pictures
from condlube.backtest.bootstrap import Interval
from condlube.backtest.judge import POLICY, Judged
from condlube.backtest.scores import SHARE, Score

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

_STYLE = """body{font:15px/1.45 system-ui,sans-serif;max-width:62rem;margin:2rem auto;padding:0 1rem;color:#222}
h1{font-size:1.5rem}h2{font-size:1.1rem;margin-top:1.8rem}table{border-collapse:collapse}
td,th{padding:.2rem .7rem;text-align:right;border-bottom:1px solid #ddd}td:first-child,th:first-child{text-align:left}
svg{max-width:34rem;width:100%;font:12px system-ui,sans-serif}.bar{fill:#9ab}.line{stroke:#234;stroke-width:2;fill:none}
.thin{stroke:#888;fill:none}circle{fill:#234}.said{font-size:1.05rem}"""


def figure(interval: Interval, unit: str) -> str:
    """A figure with its interval as people write it."""
    if not isfinite(interval.value):
        return "nothing to judge"
    if unit == SHARE:
        return f"{100 * interval.value:.0f} % ({100 * interval.low:.0f} to {100 * interval.high:.0f})"
    return f"{interval.value:.3g} ({interval.low:.3g} to {interval.high:.3g})"


def answers(judged: Judged) -> list[str]:
    """The questions of the morning after, answered in a sentence each."""
    mine, lead = judged.scores[POLICY], judged.leads[POLICY]
    caught, false = mine["caught"], mine["false inspects"]
    failures = Counter(judged.outcomes.loc[judged.outcomes["what"] == "failure", "outcome"])
    early = (
        f"Half of the warned failures were warned of {lead.median_d:.0f} days ahead or earlier"
        if isfinite(lead.median_d) else "How early the warnings came cannot be said"
    )  # fmt: skip
    return [
        f"What would we have caught? {failures['early']} of {caught.events} failures in time: "
        f"{figure(caught.interval, SHARE)}; {failures['late']} late, {failures['missed']} missed, "
        f"{failures['open']} outside the replay.",
        f"How early? {early} ({lead.warned} warned of, {lead.censored} of them at least that early).",
        f"What did it cost in false walks? {figure(false.interval, false.unit)} false inspects per bearing-year "
        f"({false.events} in all), {figure(mine['false greases'].interval, '')} false grease matters.",
        f"How much grease would we not have used? Of {figure(judged.recorded_g, '')} g per bearing-year on record, "
        f"{figure(judged.put_off_g, '')} g went into quiet bearings that the policy would have left alone. "
        f"The intervals alone ask for {figure(judged.time_only_g, '')} g.",
        f"How sure is that? The ranges in brackets are 90 % intervals over {len(judged.grid.bearing_ids)} bearings and "
        f"{judged.grid.years.sum():.0f} bearing-years; with {caught.events} failures no share is known any better.",
    ]  # fmt: skip


def table_of(judged: Judged) -> list[tuple[str, str, list[str]]]:
    """Every score of the policy and the nulls: name, unit, and the figures by caller."""
    callers = list(judged.scores)
    return [
        (name, score.unit, [figure(judged.scores[c][name].interval, score.unit) for c in callers])
        for name, score in judged.scores[POLICY].items()
    ]


def page(title: str, judged: Judged, facts: Mapping[str, Any]) -> str:
    """The page as HTML without anything from outside. ``facts`` are shown below the title, as they are."""
    return "\n".join(_lines(title, judged, facts))


def _lines(title: str, judged: Judged, facts: Mapping[str, Any]) -> Iterator[str]:
    yield f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style>'
    yield f"<h1>{escape(title)}</h1>"
    yield "<p>" + " · ".join(f"{escape(k)}: {escape(str(v))}" for k, v in facts.items()) + "</p>"
    for answer in answers(judged):
        question, _, said = answer.partition("? ")
        yield f'<h2>{escape(question)}?</h2><p class="said">{escape(said)}</p>'
        yield _picture(question, judged)
    yield "<h2>Beside what a plant does without it</h2>"
    yield "<table>" + _row("th", ["", *judged.scores])
    for name, unit, cells in table_of(judged):
        yield _row("td", [f"{name}, {unit}", *cells])
    yield "</table>"
    yield from _calibration(judged)
    yield "<h2>What a replay cannot know</h2><ul>"
    yield from (f"<li>{escape(sentence)}</li>" for sentence in CANNOT_KNOW)
    yield "</ul></html>"


def _row(tag: str, cells: list[str]) -> str:
    return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in cells) + "</tr>"


def _picture(question: str, judged: Judged) -> str:
    def of(name: str) -> list[tuple[str, Interval]]:
        return [(caller, own[name].interval) for caller, own in judged.scores.items()]

    if question.startswith("What would"):
        return pictures.bars(of("caught"), "share of failures warned of in time")
    if question.startswith("How early"):
        lead = judged.leads[POLICY]
        drawn = pictures.steps(lead.days, lead.share, "lead time, days", "share warned earlier")
        return drawn if len(lead.days) else ""
    if question.startswith("What did"):
        return pictures.bars(of("false inspects"), "false inspects per bearing-year")
    if question.startswith("How much"):
        grams = {"on record": judged.recorded_g, "put off": judged.put_off_g, "intervals alone": judged.time_only_g}
        return pictures.bars(list(grams.items()), "g per bearing-year")
    return pictures.bars(of("cost"), "cost per bearing-year, in needless greasings")


def _calibration(judged: Judged) -> Iterator[str]:
    yield "<h2>Did the probabilities mean what they said?</h2>"
    found = judged.calibration
    if found is None:
        yield "<p>The record tells of one state only: this cannot be asked.</p>"
        return
    yield (
        f"<p>Brier score {found.brier:.4f} on {found.nights} nights whose state the record tells; always saying the "
        f"base rate scores {found.brier_base:.4f}.</p>"
    )
    yield pictures.against(found.said, found.seen, "said: not adequate", "was so")


def summary(judged: Judged) -> dict[str, Any]:
    """The same for machines."""
    found = judged.calibration
    return {
        "bearings": len(judged.grid.bearing_ids),
        "bearing_years": float(judged.grid.years.sum()),
        "scores": {who: {name: _score(s) for name, s in own.items()} for who, own in judged.scores.items()},
        "outcomes": {
            what: dict(Counter(rows["outcome"])) for what, rows in judged.outcomes.groupby("what")
        },
        "lead_median_d": {who: _number(own.median_d) for who, own in judged.leads.items()},
        "calibration": None if found is None else {
            "said": found.said.tolist(), "seen": found.seen.tolist(), "brier": found.brier,
            "brier_base": found.brier_base, "nights": found.nights,
        },
        "grease_g_per_bearing_year": {
            "recorded": _interval(judged.recorded_g), "put_off": _interval(judged.put_off_g),
            "intervals_alone": _interval(judged.time_only_g),
        },
        "cannot_know": list(CANNOT_KNOW),
    }  # fmt: skip


def _score(score: Score) -> dict[str, Any]:
    return {"unit": score.unit, "events": score.events, **_interval(score.interval)}


def _interval(interval: Interval) -> dict[str, Any]:
    return {name: _number(value) for name, value in interval._asdict().items()}


def _number(value: float) -> float | None:
    return float(value) if isfinite(value) else None
