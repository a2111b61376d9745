"""The night as one HTML page that can be mailed: no server, no script, nothing fetched, bounded in size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from html import escape
from typing import Any

from condlube.advisory.change import Change
from condlube.explain import readers
from condlube.explain.cautions import GENERAL
from condlube.explain.phrases import STATES
from condlube.explain.pictures import spark, waterfall
from condlube.explain.sentences import second, sentence
from condlube.explain.table import source_name

Row = Mapping[str, Any]
MOST_TOLD = 200
"""So many flagged bearings are told in full, the most urgent ones ..."""
MOST_WORK = 500
"""... and so many lines of work of each kind."""
GROUPS = {"new": "New tonight", "changed": "Changed tonight", "lasting": "Lasting"}
MOST_TEXT = 400
"""A text of the register or the reader is cut to so many characters."""


@dataclass(frozen=True)
class Flagged:
    """One matter to be told. ``bearing`` and ``decision`` are rows of the schema; ``also`` are the other bearings that
    it concerns; ``standing`` says in words how it stands, ``by`` is the last day, ``group`` one of ``GROUPS``; ``bars``
    are name, bits and running total for ``state``, which the reason has ``named`` or is the likeliest fault."""

    bearing: Row
    also: Sequence[str]
    decision: Row
    evidence: Sequence[Row]
    standing: str
    by: date | None
    state: str
    named: bool
    bars: Sequence[tuple[str, float, float]]
    changes: Sequence[Change]
    trend_source: str
    trend: Sequence[float | None]
    group: str


@dataclass(frozen=True)
class Night:
    """What the report tells of. ``flagged`` are the first of ``found`` matters, in each group the most urgent first;
    ``work`` and ``inspections`` rows of the lists; ``data`` lines about the data; ``known_by`` in the site's time."""

    site: str
    zone: str
    night: date
    run_id: str
    known_by: datetime
    policy_digest: str
    counts: Mapping[str, int]
    found: int
    flagged: Sequence[Flagged]
    work: Sequence[Row]
    inspections: Sequence[Row]
    data: Sequence[str]


def report(night: Night) -> str:
    """The page. The same night gives the same text."""
    return "\n".join(_lines(night)) + "\n"


def _lines(night: Night) -> Iterator[str]:
    title = f"{_text(night.site)}, night of {day(night.night)}"
    yield '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
    yield f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n<h1>{title}</h1>"
    words = [f"{count} {'not decided' if call == 'failed' else call}" for call, count in night.counts.items() if count]
    yield f'<p class="tally">{sum(night.counts.values())} bearings: {", ".join(words)}.</p>'
    parts = " ".join(f'<a href="#{name.lower()}">{name}</a>' for name in ("Flagged", "Work", "Data"))
    yield f'<nav aria-label="Parts">{parts}</nav>'
    rest = f"; told are the first {len(night.flagged)}" if night.found > len(night.flagged) else ""
    yield f'<section aria-labelledby="flagged"><h2 id="flagged">Flagged ({night.found}){rest}</h2>'
    if not night.flagged:
        yield f"<p>Nothing is flagged: all {sum(night.counts.values())} bearings are left alone.</p>"
    for group, title in GROUPS.items():
        own = [one for one in night.flagged if one.group == group]
        if own or (night.flagged and group == "new"):
            yield f"<h3>{title} ({len(own)})</h3>"
        for one in own:
            yield from _flagged(one, night.policy_digest)
    yield '</section>\n<section aria-labelledby="work"><h2 id="work">Work</h2>'
    if night.work or night.inspections:
        yield f'<p class="cautions"><b>Every job:</b> {" ".join(GENERAL)}</p>'
    yield from _work("To grease, or falling due", night.work, "worklist.csv", _greasing)
    yield from _work("To inspect", night.inspections, "inspections.csv", _inspection)
    yield '</section>\n<section aria-labelledby="data"><h2 id="data">Data</h2><ul>'
    yield from (f"<li>{_text(line)}</li>" for line in night.data)
    yield "</ul></section>\n</main>"
    yield (
        f"<footer><p>Run <code>{night.run_id}</code>, known by {night.known_by:%Y-%m-%d %H:%M} ({_text(night.zone)}), "
        f"policy <code>{night.policy_digest[:12]}</code>. Advice only: site procedure and licensed practice come first."
        "</p></footer>\n</body>\n</html>"
    )


def _flagged(one: Flagged, policy_digest: str) -> Iterator[str]:
    decision = one.decision
    call = "not decided" if not decision["call"] else decision["call"]
    yield f'<article><h4>{_text(decision["bearing_id"])} <span class="call">{call}</span> <small>'
    yield f"{_place(one.bearing)}; {_text(one.standing)}</small></h4>"
    yield f'<p class="sentence">{_text(f"{sentence(decision, one.evidence)} {second(decision)}".strip())}</p>'
    if one.also:
        yield f"<p>The same on {_text(', '.join(one.also))}.</p>"
    if not decision["call"]:
        yield "</article>"
        return
    yield f"<p>{_text(readers.planner(decision, one.by))}</p>"
    if one.trend:
        said = f"{source_name(one.trend_source)}, last {len(one.trend)} nights"
        yield f"<p>{spark(one.trend, said)} <small>{said}</small></p>"
    if one.bars:
        told = f"“{STATES[one.state]}”" if one.named else f"the likeliest fault, “{STATES[one.state]}”"
        yield f"<details><summary>Evidence for {told}, and what would change the call</summary>"
        drawn = waterfall(one.bars, "Bits from the prior to the odds, row by row")
        yield f'<div class="wide" role="group" aria-label="Evidence on {_text(decision["bearing_id"])}" tabindex="0">'
        yield drawn + "</div><ul>"
        yield from (f"<li>{_text(line)}</li>" for line in readers.what_changes(one.changes, decision))
        yield f"</ul><p>{_text(readers.auditor(decision, policy_digest))}</p></details>"
    yield "</article>"


def _work(title: str, rows: Sequence[Row], file: str, line: Any) -> Iterator[str]:
    yield f"<h3>{title} ({len(rows)})</h3>"
    if not rows:
        yield "<p>Nothing.</p>"
    for row in rows[:MOST_WORK]:
        yield f'<article><h4><span class="box">☐</span> {_text(row["bearing_id"])} <small>{_place(row)}</small></h4>'
        yield line(row)
        if row["permit"]:
            yield f"<p><b>{_text(row['permit'])}</b></p>"
        yield f'<p class="cautions">{" ".join(_text(line) for line in row["hazards"])}</p></article>'
    if len(rows) > MOST_WORK:
        yield f"<p>And {len(rows) - MOST_WORK} more, in {file}.</p>"


def _greasing(row: Row) -> str:
    dose = "" if row["grease_g"] is None else f": {_dose(row)}"
    return f"<p><b>{_begun(row['task'])}{dose}</b>{_when(row)}</p><p>{_text(row['how'])}</p>"


def _inspection(row: Row) -> str:
    then = "" if row["grease_g"] is None else (
        f"<p>Then, unless the inspection speaks against it: <b>{_dose(row)}</b>. {_text(row['how'])}</p>"
    )  # fmt: skip
    look = row["look_at"] or "bearing"
    sought = f"<p>{_begun(row['look_for'])}.</p>" if row["look_for"] else ""
    return f"<p><b>Look first at the {_text(look)}</b>{_when(row)}</p>{sought}{then}"


def _dose(row: Row) -> str:
    strokes = "" if row["strokes"] is None else f", {row['strokes']} strokes"
    shots = f", in {row['shots']} shots while listening" if row["shots"] else ""
    return f"{row['grease_g']:g} g of {_text(row['grease_id'] or 'the grease that is in it')}{strokes}{shots}"


def _when(row: Row) -> str:
    return f"; {row['when']}" if row["when"] else ""


def _place(row: Row) -> str:
    machine = f"{row.get('position') or ''} of {row.get('machine_id') or '-'}".strip()
    area = f", {row['area']}" if row.get("area") else ""
    return _text(f"{machine}{area}, route {row.get('route') or '-'}")


def day(value: date) -> str:
    """A date that nobody reads the wrong way round."""
    return f"{value.day} {value:%b %Y}"


def _begun(text: str) -> str:
    """The text as the beginning of a sentence."""
    return _text(text[:1].upper() + text[1:])


def _text(value: Any) -> str:
    text = str(value)
    return escape(text if len(text) <= MOST_TEXT else text[:MOST_TEXT] + "…")


_STYLE = """
:root{color-scheme:light dark;--paper:#fbfaf7;--ink:#1d1b18;--soft:#5b564d;--rule:#cfc9bd;--line:#1f4e79;--mark:#7a4a00}
@media(prefers-color-scheme:dark){:root{--paper:#191816;--ink:#ece8df;--soft:#b3ac9f;--rule:#47433c;--line:#9cc3ea;--mark:#e0b76a}}
html{font:16px/1.45 "Source Sans 3","Noto Sans","DejaVu Sans",sans-serif;background:var(--paper);color:var(--ink)}
body{margin:0 auto;max-width:62rem;padding:0 1rem 2rem;overflow-wrap:anywhere}
h1{font-size:1.5rem;border-bottom:2px solid;padding:.6rem 0 .4rem}
h2{font-size:1.25rem;border-bottom:1px solid;margin-top:2rem}
h3{font-size:1.08rem;margin:1.2rem 0 .2rem}h4{font-size:1.02rem;margin:0}p{margin:.25rem 0}
a{color:var(--line);margin-right:1rem}
small,footer,.tally{color:var(--soft)}small{font-weight:400}
article{border-bottom:1px solid var(--rule);padding:.7rem 0;break-inside:avoid}
.sentence{font-weight:600;max-width:75ch}.call{border:1px solid;padding:0 .4rem;font-size:.9rem}
.cautions{font-size:.9rem}
.box{font-size:1.3rem;line-height:1}summary{cursor:pointer}svg{overflow:visible;color:var(--ink)}
svg text{fill:var(--ink);font-size:13px}
svg .tick{fill:var(--soft)}svg .grid{stroke:var(--rule);fill:none}
svg.waterfall{width:100%;min-width:38rem;height:auto;display:block}.wide{overflow-x:auto}
svg.spark{width:96px;height:22px;vertical-align:middle}svg .observed{fill:none;stroke:var(--line);stroke-width:1.7}
svg .last{fill:var(--line)}
svg .for{fill:var(--ink);stroke:var(--ink)}svg .against{fill:var(--paper);stroke:var(--ink)}
svg .join{stroke:var(--soft)}
svg .even{stroke:var(--ink);stroke-dasharray:6 3}svg path.sum{fill:var(--mark)}svg .sum{font-weight:700}
@media print{:root{--paper:#fff;--ink:#000;--soft:#333;--rule:#999;--line:#000;--mark:#000}
html{font-size:10pt}nav{display:none}details::details-content{content-visibility:visible}}
"""
