"""The evidence of one decision as a table of text: rows that add up to the stored odds."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from math import log2
from typing import Any

from condlube.explain.phrases import SIGNALS, STATES, why_not
from condlube.schema.words import LESS_NOISE, MEDIAN_OF_NIGHTS, NOT_SIGNIFICANT

Row = Mapping[str, Any]
HEAD = ("source", "observed", "expected", "deviation")
UNITS = {"ultrasound": "dB", "acceleration": "dB", "impulsiveness": "x", "velocity": "x", "temperature": "K",
         "settling": "K"}  # fmt: skip
_WEIGHED = {MEDIAN_OF_NIGHTS: " (median)", LESS_NOISE: " (less noise)", NOT_SIGNIFICANT: " (not significant)"}
_NARROWEST = 26  # names are not broken to less: the foot's stays whole
NAMES = {
    **SIGNALS, "prior": "time and context", "growth": "growth", "collector_share": "common shift", "onset": "onset",
    "response": "response to greasing", "zone": "vibration zone", "temperature_limit": "temperature limit",
    "electrical": "electrical pattern", "settling": "temperature before the greasing",
}  # fmt: skip


def source_name(source: str) -> str:
    """Name of an evidence source."""
    kind, _, finding = source.partition(".")
    return f"found: {finding.replace('_', ' ')}" if kind == "finding" else NAMES[source]


def leading(decision: Row, most: int = 2) -> list[str]:
    """States other than adequate, the most probable first; short of grease stands first where nothing is inspected, for
    the call is about that."""
    first = "starved" if decision["call"] in ("grease", "hold") else ""
    others = [state for state in STATES if state != "adequate"]
    return sorted(others, key=lambda state: (state != first, -float(decision[f"p_{state}"])))[:most]


def table(decision: Row, evidence: Sequence[Row]) -> list[tuple[str, ...]]:
    """Head, rows and foot: source, observed, expected, deviation, and for each of the two leading states its bits and
    their running sum. The foot holds the log2 odds of the decision: the last running sums.

    Rows that say nothing stand with 0 bits and the reason; what is not measured at all is left out.
    """
    states = leading(decision)
    head = (*HEAD, *(word for state in states for word in (state.replace("_", " "), "sum")))
    made = [head]
    sums = dict.fromkeys(states, 0.0)
    for row in evidence:
        if row["status"] == "absent":
            continue
        cells = list(_figures(row))
        for state in states:
            bits = float(row[f"bits_{state}"])
            sums[state] += bits
            cells += [f"{bits:+.2f}", f"{sums[state]:+.2f}"]
        made.append(tuple(cells))
    foot = ["log2 odds against adequate", "", "", ""]
    for state in states:
        foot += ["", f"{log2(decision[f'p_{state}'] / decision['p_adequate']):+.2f}"]
    return [*made, tuple(foot)]


def text(rows: Sequence[Sequence[str]], width: int) -> str:
    """The table in columns: the first to the left, numbers to the right. Where it would be wider than ``width``
    observed and expected levels give way, then columns stand closer, heads are shorter and long names are broken."""
    lines = _columns(rows, "  ")
    if len(lines[0]) > width:
        kept = [k for k, name in enumerate(rows[0]) if name not in ("observed", "expected")]
        rows = [[row[k] for k in kept] for row in rows]
        lines = _columns(rows, "  ")
    if len(lines[0]) > width:
        rows = [[name.removesuffix(" fault") for name in rows[0]], *rows[1:]]
        excess = len(_columns(rows, " ")[0]) - width
        lines = _columns([part for row in rows for part in _broken(row, excess, rows)], " ")
    rule = "-" * len(lines[0])
    return "\n".join(line.rstrip() for line in [lines[0], rule, *lines[1:-1], rule, lines[-1]])


def _broken(row: Sequence[str], excess: int, rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """The row with a name shorter by ``excess`` than the longest of the ``rows``, as far as its words allow; the rest
    of it in rows of its own, before the figures."""
    most = max(len(other[0]) for other in rows) - max(excess, 0)
    *first, last = textwrap.wrap(row[0], max(most, _NARROWEST), subsequent_indent="  ") or [""]
    return [[part, *[""] * (len(row) - 1)] for part in first] + [[last, *row[1:]]]


def _columns(rows: Sequence[Sequence[str]], gap: str) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        gap.join(c.ljust(w) if k == 0 else c.rjust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True)))
        for row in rows
    ]


def _figures(row: Row) -> tuple[str, str, str, str]:
    source, reason = str(row["source"]), row["reason"] or ""
    name = source_name(source)
    if row["status"] != "assessed":
        return f"{name} ({why_not(row)})", "", "", ""
    if source == "prior":
        if "rough_history" in reason.split():
            name += f" ({row['point_id']} faulty on {1.0 - row['coverage']:.0%} of its days)"
        x = "unknown" if _empty(row["deviation"]) else f"x = {row['deviation']:.2f}"
        if "assumed_x" in reason.split() and not _empty(row["deviation"]):
            x += " (doubted)"
        return name, _quantity(row["observed"], "h", 0), _quantity(row["expected"], "h", 0), x
    if source in UNITS:
        value = round(row["deviation"], 1) + 0.0
        deviation = f"{value:+.1f} {UNITS[source]}" if UNITS[source] != "x" else f"{row['deviation']:.2f} x"
        by = _WEIGHED.get(reason, "")
        return (
            name, _quantity(row["observed"], row["unit"], 2), _quantity(row["expected"], row["unit"], 2), deviation + by
        )  # fmt: skip
    if source in ("growth", "collector_share"):
        return name, "", "", f"{row['deviation']:.1f} spreads" if source == "growth" else f"{row['deviation']:.0%}"
    return name, _quantity(row["observed"], row["unit"], 1), _quantity(row["expected"], row["unit"], 1), reason


def _quantity(value: float | None, unit: str | None, digits: int) -> str:
    return "" if _empty(value) else f"{value:,.{digits}f} {unit or ''}".strip()


def _empty(value: float | None) -> bool:
    return value is None or value != value
