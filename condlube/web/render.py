"""Templates and how they write numbers, days and times."""

from __future__ import annotations

from datetime import date, datetime
from functools import partial
from math import isfinite
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from condlube.explain.phrases import MATTERS
from condlube.explain.sentences import sentence
from condlube.explain.table import source_name
from condlube.schema.columns import COLUMNS
from condlube.web import charts, telling

HERE = Path(__file__).parent
_UNITS = {"degC": "°C", "1": "", "mm2/s": "mm²/s", "canonical": ""}
_SUFFIXES = {"degC": "_degc", "mm": "_mm", "K": "_k", "g": "_g", "h": "_h", "kW": "_kw", "r/min": "_rpm", "m": "_m",
             "kg": "_kg", "N": "_n"}  # fmt: skip
# Calls are told by a word and a shape; colour adds nothing.
_SHAPES = {
    "grease": '<path class="full" d="M7 12L2 3h10z"/>',
    "inspect": '<path class="open" d="M7 2l5 5l-5 5l-5 -5z"/>',
    "hold": '<path class="thin" d="M3 7h8"/>',
    "failed": '<path class="cross" d="M3 3l8 8m0 -8l-8 8"/>',
}


def environment(zone: ZoneInfo, site: str) -> Environment:
    """Templates of the review pages; everything that is not marked as safe is escaped."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters.update(
        day=day, num=num, at=partial(at, zone=zone), shape=shape, words=lambda code: code.replace("_", " "),
        chance=chance, unit=unit, label=label, figure=figure, held=held,
        capitalize_first=lambda text: text[:1].upper() + text[1:],
    )  # fmt: skip
    made.globals.update(
        site=site, zone=zone.key, charts=charts, source_name=source_name, state_name=telling.state_name,
        row_says=telling.row_says, answer_says=telling.ANSWERS.get, says=sentence, matter_says=MATTERS.get, link=link,
        plain=plain,
    )  # fmt: skip
    return made


def day(value: date | None, empty: str = "") -> str:
    """A date that nobody reads the wrong way round."""
    return empty if value is None else f"{value.day} {value:%b %Y}"


def at(value: datetime | None, zone: ZoneInfo, empty: str = "") -> str:
    """An instant in the site's time."""
    return empty if value is None else f"{value.astimezone(zone):%Y-%m-%d %H:%M}"


def num(value: float | None, digits: int = 0, empty: str = "") -> str:
    """A number with so many decimals; nothing where there is none."""
    return empty if value is None or not isfinite(value) else f"{value:,.{digits}f}"


def chance(value: float | None) -> str:
    """A probability in per cent, with as many figures as mean something."""
    if value is None:
        return ""
    if value < 0.0005 or value > 0.995:
        return "under 0.1 %" if value < 0.0005 else "over 99 %"
    return f"{value * 100:.{0 if value >= 0.0995 else 1}f} %"


def figure(value: float | None) -> str:
    """A measured number with four figures."""
    if value is None or not isfinite(value):
        return ""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def unit(code: str | None) -> str:
    """A canonical unit as it is printed."""
    return _UNITS.get(code or "", code or "")


def label(name: str) -> Markup:
    """A column of the schema as people read it: its name, its unit, and its meaning to be asked for."""
    column = COLUMNS[name]
    said = name.removesuffix(_SUFFIXES.get(column.unit, "\0"))
    shown = unit(column.unit) if said != name else ""
    said = said.replace("_", " ")
    return Markup('<span title="{}">{}</span>{}').format(column.meaning, said, f", {shown}" if shown else "")


def held(value: Any, name: str) -> str:
    """A value of a column of the schema as people read it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return plain(value).replace("_", " ") if COLUMNS[name].choices else plain(value)


def shape(call: str | None) -> Markup:
    """The call's word with its shape before it."""
    word = call or "failed"
    drawn = Markup('<svg class="shape" viewBox="0 0 14 14" aria-hidden="true">{}</svg>').format(
        Markup(_SHAPES.get(word, ""))
    )
    return Markup('<span class="call {}">{}{}</span>').format(word, drawn, word)


def plain(value: Any) -> str:
    """A policy value as it is written in a policy."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ", ".join(plain(v) for v in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


@pass_context
def link(context: Context, path: str, **query: Any) -> str:
    """Address of a page. The night that is looked at stays in it, unless it is the newest."""
    night = context.get("night")
    held = {"night": night} if night and not context.get("newest") else {}
    return link_to(path, **{**held, **query})


def link_to(path: str, **query: Any) -> str:
    """Address with the filled ones of the query's fields."""
    given = {name: value for name, value in query.items() if value not in (None, "")}
    return f"{path}?{urlencode(given)}" if given else path
