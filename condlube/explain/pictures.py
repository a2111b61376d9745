"""Pictures of a decision as SVG: a trend as wide as a word, the evidence from the prior to the odds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from itertools import groupby
from math import ceil, floor, isfinite

WIDTH = 960.0
Values = Sequence[float | None]


def spark(values: Values, label: str) -> str:
    """A trend without axes, as wide as a word; the last value is dotted."""
    known = [v for v in values if v is not None and isfinite(v)]
    if not known:
        return ""
    low, high = min(known), max(known)
    reach = max(high - low, 1e-9)
    width, height = 96.0, 22.0

    def place(k: int, value: float) -> str:
        return f"{2 + (width - 4) * k / max(len(values) - 1, 1):.1f},{2 + (height - 4) * (high - value) / reach:.1f}"

    lines = "".join(
        f'<polyline class="observed" points="{" ".join(place(k, values[k] or 0.0) for k in run)}"/>'
        for run in runs(range(len(values)), values)
    )
    last = max(k for k, v in enumerate(values) if v is not None)
    dot_x, dot_y = place(last, values[last] or 0.0).split(",")
    dot = f'<circle class="last" cx="{dot_x}" cy="{dot_y}" r="2"/>'
    head = f'<svg class="spark" viewBox="0 0 {width:g} {height:g}" role="img" aria-label="{escape(label)}">'
    return f"{head}{lines}{dot}</svg>"


def waterfall(rows: Sequence[tuple[str, float, float]], label: str) -> str:
    """Rows of name, bits and running total; bars begin where the row before ended. Full bars speak for, open ones
    against."""
    if not rows:
        return ""
    ends = [0.0, *(total for _, _, total in rows)]
    low, high = floor(min(ends)), ceil(max(ends))
    high = max(high, low + 1)
    line, left, right = 24.0, 220.0, 90.0
    height = line * (len(rows) + 1) + 22

    def x(bits: float) -> float:
        return left + (WIDTH - left - right) * (bits - low) / (high - low)

    parts = [f'<svg class="waterfall" viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{escape(label)}">']
    step = max(1, ceil((high - low) / 12))
    for value in range(low, high + 1, step):
        parts.append(f'<path class="grid" d="M{x(value):.1f} 2V{height - 20:.0f}"/>')
        place = f'x="{x(value):.1f}" y="{height - 6:.0f}" text-anchor="middle"'
        parts.append(f'<text class="tick" {place}>{value:+d}</text>')
    parts.append(f'<path class="even" d="M{x(0):.1f} 2V{height - 20:.0f}"/>')
    before = 0.0
    for k, (name, bits, total) in enumerate(rows):
        y = line * k + 4
        begin, end = sorted((x(before), x(total)))
        word = "for" if bits >= 0 else "against"
        parts.append(f'<text class="name" x="{left - 8:g}" y="{y + 13:.0f}" text-anchor="end">{escape(name)}</text>')
        parts.append(
            f'<rect class="{word}" x="{begin:.1f}" y="{y:.0f}" width="{max(end - begin, 1):.1f}" height="16"/>'
            f'<text class="figure" x="{WIDTH - right + 84:g}" y="{y + 13:.0f}" text-anchor="end">{bits:+.2f}</text>'
        )
        parts.append(f'<path class="join" d="M{x(total):.1f} {y:.0f}v{line:.0f}"/>')
        before = total
    y = line * len(rows) + 4
    parts.append(f'<text class="name sum" x="{left - 8:g}" y="{y + 13:.0f}" text-anchor="end">together</text>')
    parts.append(f'<path class="sum" d="M{x(before):.1f} {y:.0f}l6 8l-6 8l-6 -8z"/>')
    place = f'x="{WIDTH - right + 84:g}" y="{y + 13:.0f}" text-anchor="end"'
    parts.append(f'<text class="figure sum" {place}>{before:+.2f}</text>')
    return "".join([*parts, "</svg>"])


def runs(positions: Sequence[int], *series: Values) -> Iterator[list[int]]:
    """Unbroken stretches of positions at which every series has a value; a single one twice, so that it is drawn."""
    for known, run in groupby(positions, key=lambda k: all(values[k] is not None for values in series)):
        if known:
            found = list(run)
            yield found if len(found) > 1 else found * 2
