"""Charts as SVG that needs no script: trends, sparklines, the waterfall. Looks are in the style sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10

from markupsafe import Markup, escape

from condlube.explain import pictures
from condlube.explain.pictures import WIDTH, Values, runs

HEIGHT = 210.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 10.0, 12.0, 40.0
POINTS = 260


@dataclass(frozen=True)
class Mark:
    """Something that happened or stood from ``at`` to ``until``: ``kind`` is an event's or a call's word, drawn by its
    own shape."""

    at: date
    kind: str
    title: str
    until: date | None = None


def trend(
    label: str, nights: Sequence[date], observed: Values, expected: Values, low: Values, high: Values,
    marks: Sequence[Mark], calls: Sequence[Mark],
) -> Markup:  # fmt: skip
    """Observed level against the expected band. ``marks`` stand over the whole height, ``calls`` in a row below: a
    shape on the first night of each, and a line for as long as it stood."""
    inside = [v for values in (observed, low, high) for v in values if v is not None]
    if not nights or not inside:
        return Markup("")
    bottom, top, ticks = _scale(min(inside), max(inside))
    first, days = nights[0], max((nights[-1] - nights[0]).days, 1)

    def x(day: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (day - first).days / days

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (top - value) / (top - bottom)

    parts = [f'<svg class="trend" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(label)}">']
    for value in ticks:
        parts.append(f'<path class="grid" d="M{LEFT:g} {y(value):.1f}H{WIDTH - RIGHT:g}"/>')
        parts.append(f'<text class="tick" x="{LEFT - 6:g}" y="{y(value) + 4:.1f}" text-anchor="end">{value:g}</text>')
    for day, text in _months(first, nights[-1]):
        parts.append(f'<path class="grid" d="M{x(day):.1f} {TOP:g}V{HEIGHT - BOTTOM:g}"/>')
        parts.append(f'<text class="tick" x="{x(day) + 3:.1f}" y="{HEIGHT - 6:g}">{text}</text>')
    kept = _thinned(observed)
    for run in runs(kept, low, high):
        upper = [f"{x(nights[k]):.1f},{y(high[k] or 0.0):.1f}" for k in run]
        lower = [f"{x(nights[k]):.1f},{y(low[k] or 0.0):.1f}" for k in reversed(run)]
        parts.append(f'<polygon class="band" points="{" ".join(upper + lower)}"/>')
    for name, values in (("expected", expected), ("observed", observed)):
        for run in runs(kept, values):
            points = " ".join(f"{x(nights[k]):.1f},{y(values[k] or 0.0):.1f}" for k in run)
            parts.append(f'<polyline class="{name}" points="{points}"/>')
    parts.extend(_mark(mark, x(mark.at)) for mark in marks if first <= mark.at <= nights[-1])
    shown = (call for call in calls if first <= (call.until or call.at) and call.at <= nights[-1])
    parts.extend(_call(call, x(max(call.at, first)), x(min(call.until or call.at, nights[-1]))) for call in shown)
    return Markup("".join([*parts, "</svg>"]))


def spark(values: Values, label: str) -> Markup:
    """``explain.pictures.spark`` as it stands in a page."""
    return Markup(pictures.spark(values, label))


def waterfall(rows: Sequence[tuple[str, float, float]], label: str) -> Markup:
    """``explain.pictures.waterfall`` as it stands in a page."""
    return Markup(pictures.waterfall(rows, label))


def bars(rows: Sequence[tuple[str, int]], label: str) -> Markup:
    """Counts as horizontal bars."""
    most = max((count for _, count in rows), default=0)
    if not most:
        return Markup("")
    line, left = 22.0, 110.0
    parts = [f'<svg class="bars" viewBox="0 0 480 {line * len(rows) + 4:g}" role="img" aria-label="{escape(label)}">']
    for k, (name, count) in enumerate(rows):
        width = (480 - left - 60) * count / most
        parts.append(
            f'<text class="name" x="{left - 8:g}" y="{line * k + 15:g}" text-anchor="end">{escape(name)}</text>'
            f'<rect class="for" x="{left:g}" y="{line * k + 3:g}" width="{width:.1f}" height="15"/>'
            f'<text class="figure" x="{left + width + 6:.1f}" y="{line * k + 15:g}">{count}</text>'
        )
    return Markup("".join([*parts, "</svg>"]))


def _mark(mark: Mark, x: float) -> str:
    shape = {
        "relubrication": f'<path class="full" d="M{x:.1f} {TOP:g}l-5 -9h10z"/>',
        "inspection": f'<path class="open" d="M{x:.1f} {TOP - 10:g}l5 5l-5 5l-5 -5z"/>',
        "failure": f'<path class="cross" d="M{x - 5:.1f} {TOP - 10:g}l10 10m0 -10l-10 10"/>',
    }.get(mark.kind, f'<rect class="open" x="{x - 4:.1f}" y="{TOP - 9:g}" width="8" height="8"/>')
    line = f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{TOP:g}" y2="{HEIGHT - BOTTOM:g}"/>'
    return f'<g class="event {escape(mark.kind)}"><title>{escape(mark.title)}</title>{line}{shape}</g>'


def _call(call: Mark, x: float, end: float) -> str:
    y = HEIGHT - BOTTOM + 12
    shape = {
        "grease": f'<path class="full" d="M{x:.1f} {y + 5:g}l-4 -8h8z"/>',
        "inspect": f'<path class="open" d="M{x:.1f} {y - 5:g}l5 5l-5 5l-5 -5z"/>',
    }.get(call.kind, f'<path class="cross" d="M{x - 4:.1f} {y - 4:g}l8 8m0 -8l-8 8"/>')
    line = f'<path class="stood" d="M{x:.1f} {y:g}H{end:.1f}"/>' if end > x else ""
    return f'<g class="call {escape(call.kind)}"><title>{escape(call.title)}</title>{line}{shape}</g>'


def _scale(low: float, high: float) -> tuple[float, float, list[float]]:
    """Ends and ticks of an axis that shows both values, in steps of 1, 2 or 5."""
    reach = max(high - low, abs(high) * 1e-6, 1e-9)
    rough = reach / 4
    unit = 10.0 ** floor(log10(rough))
    step = next(unit * m for m in (1, 2, 5, 10) if unit * m >= rough)
    bottom, top = floor(low / step) * step, ceil(high / step) * step
    if bottom == top:
        top = bottom + step
    count = round((top - bottom) / step)
    return bottom, top, [round(bottom + k * step, 10) for k in range(count + 1)]


def _months(first: date, last: date) -> Iterator[tuple[date, str]]:
    """Firsts of months, not more than a dozen."""
    months = (last.year - first.year) * 12 + last.month - first.month
    every = max(1, ceil(months / 12))
    for k in range(0, months + 1):
        month = first.month - 1 + k
        day = date(first.year + month // 12, month % 12 + 1, 1)
        if day >= first and k % every == 0 and last - day > timedelta(days=4):
            yield day, f"{day:%b %y}" if months > 11 else f"{day:%d %b}"


def _thinned(values: Values) -> list[int]:
    """Positions that keep the shape: of each stretch the lowest, the highest and the last."""
    size = max(1, ceil(3 * len(values) / POINTS))
    if size <= 3:
        return list(range(len(values)))
    kept: set[int] = set()
    for begin in range(0, len(values), size):
        stretch = range(begin, min(begin + size, len(values)))
        known = [(values[k] or 0.0, k) for k in stretch if values[k] is not None]
        kept.update({stretch[-1], *((min(known)[1], max(known)[1]) if known else ())})
        kept.update(k for k in stretch if values[k] is None and (k == stretch[0] or values[k - 1] is not None))
    return sorted(kept)
