"""Draws manipulation.svg: ``python docs/methods/figures/manipulation.py``.

Nine days of real vibration of a ventilation unit (skchange.datasets.load_hvac_system_data, unit 1, BSD-3): levels,
the empty band between them, and the running state that follows.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from skchange.datasets import load_hvac_system_data

from condlube.manipulation.levels import decibel, empty_bands
from condlube.policy.parse import parse_policy

HERE = Path(__file__).parent
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 900, 330, 60, 190, 34, 46
INK, RUNNING, STANDING = "#222", "#1f5f8b", "#b9b4a6"


def main() -> None:
    running = parse_policy((HERE.parents[2] / "condlube/policy/default.toml").read_text(encoding="utf-8"), "").running
    data = load_hvac_system_data()
    unit = data["unit_id"] == 1
    time, value = pd.DatetimeIndex(data["time"][unit]), data["data"][unit, 0]
    level = decibel(value, np.full(len(value), True))
    middle = empty_bands(
        level, np.ones(len(level)), np.zeros(len(level), np.int64), 1,
        running.apart_db, running.between_share, running.side_share,
    )[0]  # fmt: skip
    shown = (time >= "2023-12-13") & (time < "2023-12-22")
    low, high = level[level < middle].max(), level[level >= middle].min()

    def x(t):
        share = (t - pd.Timestamp("2023-12-13")) / pd.Timedelta(days=9)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(db):
        return TOP + (-20 - db) / 32 * (HEIGHT - TOP - BOTTOM)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        f'font-size="12" fill="{INK}">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
        f'<rect x="{LEFT}" y="{y(high):.1f}" width="{WIDTH - LEFT - 20}" height="{y(low) - y(high):.1f}" '
        'fill="#f1eee6"/>',
        f'<line x1="{LEFT}" x2="{WIDTH - 20}" y1="{y(middle):.1f}" y2="{y(middle):.1f}" stroke="{INK}" '
        'stroke-dasharray="5 4"/>',
        f'<text x="{LEFT + 6}" y="{y(middle) - 6:.1f}">no reading in {high - low:.0f} dB: from the middle up the unit '
        "runs</text>",
        f'<text x="{LEFT}" y="20">Vibration of a ventilation unit, dB, every ten minutes of nine days</text>',
    ]
    for t, db in zip(time[shown], level[shown], strict=True):
        colour = RUNNING if db >= middle else STANDING
        out.append(f'<circle cx="{x(t):.1f}" cy="{y(db):.1f}" r="1.6" fill="{colour}"/>')
    counts, edges = np.histogram(level, np.arange(-52, -19, 1.0))
    for count, edge in zip(counts, edges, strict=False):
        if count:
            length = 130 * np.sqrt(count / counts.max())
            colour = RUNNING if edge + 0.5 >= middle else STANDING
            out.append(
                f'<rect x="{WIDTH - RIGHT + 25}" y="{y(edge + 1):.1f}" width="{length:.1f}" '
                f'height="{y(edge) - y(edge + 1) - 1:.1f}" fill="{colour}"/>'
            )
    out.append(f'<text x="{WIDTH - RIGHT + 25}" y="{HEIGHT - 12}">all 30 days (root of counts)</text>')
    for db in range(-50, -19, 10):
        out.append(f'<text x="{LEFT - 10}" y="{y(db) + 4:.1f}" text-anchor="end">{db}</text>')
        out.append(f'<line x1="{LEFT - 5}" x2="{LEFT}" y1="{y(db):.1f}" y2="{y(db):.1f}" stroke="{INK}"/>')
    for day in pd.date_range("2023-12-13", "2023-12-21"):
        middle_of_day = x(day + pd.Timedelta(hours=12))
        out.append(f'<text x="{middle_of_day:.1f}" y="{HEIGHT - 12}" text-anchor="middle">{day:%a %d}</text>')
        out.append(f'<line x1="{x(day):.1f}" x2="{x(day):.1f}" y1="{TOP}" y2="{HEIGHT - BOTTOM + 8}" stroke="#ddd"/>')
    (HERE / "manipulation.svg").write_text("\n".join([*out, "</svg>"]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
