"""Pictures of a report as inline SVG: steps, bars with intervals, points against a diagonal."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from math import isfinite

from condlube.assessment.sources import FloatArray
from condlube.backtest.answers import number
from condlube.backtest.bootstrap import Interval

WIDTH, HEIGHT, LEFT, BOTTOM, TOP = 420.0, 170.0, 60.0, 34.0, 12.0


def steps(x: FloatArray, y: FloatArray, x_label: str, y_label: str) -> str:
    """A falling step curve from (0, 1); y is a share."""
    most = max([float(v) for v in x] + [1.0])
    points = [(0.0, 1.0)]
    for a, b in zip(x, y, strict=True):
        points += [(float(a), points[-1][1]), (float(a), float(b))]
    line = " ".join(f"{_x(a / most):.1f},{_y(b):.1f}" for a, b in points)
    ticks = _ticks([(0, "0"), (0.5, f"{most / 2:.0f}"), (1, f"{most:.0f}")]) + _up([(0.5, "0.5"), (1, "1")])
    return _svg(f'<polyline class="line" points="{line}"/>' + ticks, x_label, y_label)


def bars(rows: Sequence[tuple[str, Interval]], unit: str) -> str:
    """Horizontal bars with their intervals, one for each named figure; what is not known has no bar."""
    known = [v for _, i in rows for v in (i.value, i.high) if isfinite(v)]
    most = max([*known, 1e-9])
    width, left, high = WIDTH + 120, 140.0, 26.0
    made = []
    for k, (name, i) in enumerate(rows):
        y = TOP + k * high
        made.append(f'<text x="{left - 6}" y="{y + 13}" text-anchor="end">{escape(name)}</text>')
        if not isfinite(i.value):
            made.append(f'<text x="{left + 4}" y="{y + 13}">nothing to judge</text>')
            continue
        scale = (width - left - 70) / most
        made.append(f'<rect class="bar" x="{left}" y="{y + 3}" width="{i.value * scale:.1f}" height="12"/>')
        low, top = (left + v * scale for v in (i.low, i.high))
        made.append(f'<line class="line" x1="{low:.1f}" x2="{top:.1f}" y1="{y + 9}" y2="{y + 9}"/>')
        made.append(f'<text x="{top + 6:.1f}" y="{y + 13}">{number(i.value)}</text>')
    total = TOP + len(rows) * high + 20
    made.append(f'<text x="6" y="{total - 4}">{escape(unit)}; line: 90 % interval over bearings</text>')
    return f'<svg viewBox="0 0 {width:.0f} {total:.0f}" role="img">{"".join(made)}</svg>'


def against(said: FloatArray, seen: FloatArray, x_label: str, y_label: str) -> str:
    """Points of shares against shares, with the diagonal on which both are equal."""
    most = max([float(v) for v in (*said, *seen)] + [0.01])
    dots = "".join(
        f'<circle cx="{_x(float(a) / most):.1f}" cy="{_y(float(b) / most):.1f}" r="4"/>'
        for a, b in zip(said, seen, strict=True)
    )
    diagonal = f'<line class="thin" x1="{_x(0):.1f}" y1="{_y(0):.1f}" x2="{_x(1):.1f}" y2="{_y(1):.1f}"/>'
    marks = [(0.5, f"{most / 2:.2g}"), (1.0, f"{most:.2g}")]
    ticks = _ticks([(0.0, "0"), *marks]) + _up(marks)
    return _svg(diagonal + dots + ticks, x_label, y_label)


def _x(share: float) -> float:
    return LEFT + share * (WIDTH - LEFT - 24)


def _y(share: float) -> float:
    return TOP + (1 - share) * (HEIGHT - TOP - BOTTOM)


def _ticks(marks: Sequence[tuple[float, str]]) -> str:
    low = HEIGHT - BOTTOM + 14
    return "".join(f'<text x="{_x(at):.1f}" y="{low}" text-anchor="middle">{escape(text)}</text>' for at, text in marks)


def _up(marks: Sequence[tuple[float, str]]) -> str:
    return "".join(
        f'<text x="{LEFT - 5}" y="{_y(at) + 4:.1f}" text-anchor="end">{escape(text)}</text>' for at, text in marks
    )


def _svg(inner: str, x_label: str, y_label: str) -> str:
    axes = f'<path class="thin" d="M{_x(0):.1f},{_y(1):.1f} V{_y(0):.1f} H{_x(1):.1f}"/>'
    names = (
        f'<text x="{_x(0.5):.1f}" y="{HEIGHT - 4}" text-anchor="middle">{escape(x_label)}</text>'
        f'<text transform="translate(12,{_y(0.5):.1f}) rotate(-90)" text-anchor="middle">{escape(y_label)}</text>'
    )
    return f'<svg viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img">{axes}{inner}{names}</svg>'
