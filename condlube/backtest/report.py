"""The report of a replay: one self-contained page that answers a reliability engineer's questions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from html import escape
from math import isfinite, isnan
from typing import Any

import pandas as pd

from condlube.backtest import pictures
from condlube.backtest.answers import CANNOT_KNOW, answers, parts, table_of
from condlube.backtest.bootstrap import Interval
from condlube.backtest.judge import POLICY, Judged
from condlube.backtest.scores import Score
from condlube.detection.begins import EPOCH

_STYLE = """body{font:14px/1.4 system-ui,sans-serif;max-width:70rem;margin:1.5rem auto;padding:0 1rem;color:#222}
h1{font-size:1.4rem;margin:0}h2{font-size:1rem;margin:0 0 .2rem}section~h2{margin-top:1rem}p{margin:.2rem 0}
section{display:grid;grid-template-columns:1fr 1fr;gap:.2rem 2rem;align-items:center;padding:.6rem 0;
border-bottom:1px solid #ddd}table{border-collapse:collapse;font-size:.9rem;margin:.4rem 0 1rem}
td,th{padding:.1rem .7rem;text-align:right;vertical-align:top;border-bottom:1px solid #eee}
td:first-child,th:first-child{text-align:left}.words td,.words th{text-align:left}
svg{max-width:32rem;width:100%;font:12px system-ui,sans-serif}.bar{fill:#b8c4d0}
.line{stroke:#234;stroke-width:2;fill:none}.thin{stroke:#888;fill:none}circle{fill:#234}.range,.facts{color:#555}.range{white-space:nowrap}
@media(max-width:40rem){section{display:block}}@media print{body{margin:0;font-size:11px}section{break-inside:avoid}}"""
LISTED = 30
"""Failures, and inspections, listed on the page; outcomes.csv holds them all."""


def page(title: str, judged: Judged, facts: Mapping[str, Any]) -> str:
    """The page as HTML without anything from outside. ``facts`` are shown below the title, as they are."""
    return "\n".join(_lines(title, judged, facts))


def _lines(title: str, judged: Judged, facts: Mapping[str, Any]) -> Iterator[str]:
    yield f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style>'
    yield f"<h1>{escape(title)}</h1>"
    yield '<p class="facts">' + " · ".join(f"{escape(k)}: {escape(str(v))}" for k, v in facts.items()) + "</p>"
    for (question, answer), picture in zip(answers(judged).items(), _pictures(judged), strict=True):
        yield f"<section><div><h2>{escape(question)}</h2><p>{escape(answer)}</p></div><div>{picture}</div></section>"
    yield from _failures(judged)
    yield from _inspections(judged)
    yield "<h2>Beside what a plant does without it</h2><table>"
    yield _row("th", ["", *judged.scores])
    for name, unit, intervals in table_of(judged):
        cells = (parts(i, unit) for i in intervals)
        shown = [f'{escape(value)} <span class="range">{escape(f"({span})" if span else "")}</span>'
                 for value, span in cells]  # fmt: skip
        yield _row("td", [escape(f"{name}, {unit}"), *shown])
    yield "</table><h2>What a replay cannot know</h2><ul>"
    yield from (f"<li>{escape(sentence)}</li>" for sentence in CANNOT_KNOW)
    yield "</ul></html>"


def _row(tag: str, cells: Iterable[str]) -> str:
    return "<tr>" + "".join(f"<{tag}>{cell}</{tag}>" for cell in cells) + "</tr>"


def _failures(judged: Judged) -> Iterator[str]:
    """Every failure and whether somebody would have been warned."""
    rows = judged.outcomes[judged.outcomes["what"] == "failure"].sort_values("first")
    if not len(rows):
        return
    yield '<h2>The failures on record</h2><table class="words">'
    yield _row("th", ("bearing", "day", "for want of grease", "warned", "days ahead", "note"))
    for row in rows.head(LISTED).itertuples(index=False):
        told = {True: "yes", False: "no"}.get(row.lubrication, "not said")
        ahead = "" if isnan(row.lead_d) or row.outcome == "missed" else f"{row.lead_d:.0f}" + " or more" * row.censored
        cells = (row.bearing_id, day_of(row.first).isoformat(), told, row.outcome, ahead, row.detail)
        yield _row("td", (escape(str(cell)) for cell in cells))
    yield _listed(rows)


def _inspections(judged: Judged) -> Iterator[str]:
    """Every inspection that the evidence asked for and what came of it."""
    rows = judged.outcomes[judged.outcomes["what"] == "inspect"].sort_values("first")
    if not len(rows):
        return
    yield '<h2>The inspections asked for</h2><table class="words">'
    yield _row("th", ("bearing", "first asked", "last asked", "proved", "by"))
    for row in rows.head(LISTED).itertuples(index=False):
        cells = (row.bearing_id, day_of(row.first), day_of(row.last), row.outcome, row.detail)
        yield _row("td", (escape(str(cell)) for cell in cells))
    yield _listed(rows)


def _listed(rows: pd.DataFrame) -> str:
    return "</table>" + f"<p>{len(rows) - LISTED} more in outcomes.csv</p>" * (len(rows) > LISTED)


def day_of(day: int) -> date:
    """A day of the grid as a date."""
    return date.fromordinal(int(day) + EPOCH)


def _pictures(judged: Judged) -> Iterator[str]:
    """One beside every answer, in their order."""

    def of(name: str) -> list[tuple[str, Interval]]:
        return [(caller, own[name].interval) for caller, own in judged.scores.items()]

    lead, found = judged.leads[POLICY], judged.calibration
    caught = [(caller, Interval(*(100 * v for v in i))) for caller, i in of("caught")]
    yield pictures.bars(caught, "% of failures warned of in time")
    yield pictures.steps(lead.days, lead.share, "lead time, days", "share warned earlier") if len(lead.days) else ""
    yield pictures.bars(of("false inspects"), "false inspections per bearing-year")
    grams = {"on record": judged.recorded_g, "put off": judged.put_off_g, "intervals alone": judged.time_only_g}
    yield pictures.bars(list(grams.items()), "g per bearing-year")
    yield pictures.bars(of("cost"), "cost per bearing-year, in needless greasings")
    if found is None:
        yield "<p>The record tells of one state only: whether the probabilities came true cannot be asked.</p>"
        return
    said = (
        f"Whether the probabilities came true, on {found.nights} nights whose state the record tells: Brier score "
        f"{found.brier:.4f}; always saying the base rate scores {found.brier_base:.4f}."
    )
    yield pictures.against(found.said, found.seen, "said: not adequate", "was so") + f"<p>{said}</p>"


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
        "costs_more": {who: _interval(interval) for who, interval in judged.saved.items()},
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
