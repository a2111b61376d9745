"""Draws detection.svg: one simulated bearing through a slow rise, a greasing and a short return.

python docs/methods/figures/detection.py
"""

from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.detection.deviations import deviations
from condlube.detection.references import advance
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.schema.nights import as_of, nights_between

ZONE, FIRST, DAYS, GREASED = ZoneInfo("UTC"), date(2025, 1, 1), 130, 105
WIDTH, HEIGHT, LEFT, BOTTOM = 900, 330, 60, 290


def simulated():
    random = np.random.default_rng(4)
    day = np.arange(DAYS)
    speed = random.choice([1000.0, 1250.0, 1480.0], DAYS)
    level = 28 + 5.5 * np.log2(speed / 1480) + random.normal(0, 0.5, DAYS)
    level += np.where(day < GREASED, 8 * np.clip((day - 60) / 30, 0, 1), np.where(day > GREASED + 12, 7.5, 0))
    dates = pd.date_range(FIRST, periods=DAYS)
    last = dates.tz_localize("UTC") + pd.Timedelta(hours=22)
    made = pd.DataFrame({
        "point_id": "P", "date": dates, "cell": 0, "n": 24, "n_total": 24, "known_at": last, "last_time": last,
        "median": level, "last_value": level, "spread": 0.3, "fault": "", "coverage": 1.0, "speed_rpm": speed,
    })  # fmt: skip
    return made.reindex(columns=arrow_schema("summaries").names)


def table(name, rows):
    return rows_to_table(name, rows).to_pandas()


def compared():
    policy = parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")
    points = table("points", [{"point_id": "P", "bearing_id": "B", "quantity": "ultrasound", "sampling": "continuous"}])
    bearings = table("bearings", [{"bearing_id": "B", "bearing_type": "deep_groove_ball", "speed_rpm": 1480.0}])
    when = datetime(2025, 1, 1, 9, tzinfo=UTC) + timedelta(days=GREASED)
    greased = {"event_id": "e", "time": when, "kind": "relubrication", "bearing_id": "B", "known_at": when}
    events = table("events", [greased])
    nights = nights_between(FIRST, FIRST + timedelta(days=DAYS - 1))
    data = (simulated(), table("expected", []), events, points, bearings)
    expected = advance(*data, as_of(nights[-1], ZONE), ZONE, policy)
    return simulated(), deviations(data[0], expected, *data[2:], nights, ZONE, policy)


def main():
    summaries, rows = compared()
    x = lambda k: LEFT + k * (WIDTH - LEFT - 20) / DAYS  # noqa: E731
    y = lambda v: BOTTOM - (v + 4) * 16  # noqa: E731
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
           f'font-size="12" fill="#222">', f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
           f'<text x="{LEFT}" y="20">Ultrasound at three speeds: level less 28 dB (grey), deviation from the expected '
           'level (black), chart signals (line below)</text>']  # fmt: skip
    for value in (-4, 0, 4, 8):
        out.append(f'<line x1="{LEFT}" x2="{WIDTH - 20}" y1="{y(value):.1f}" y2="{y(value):.1f}" stroke="#ddd"/>')
        out.append(f'<text x="{LEFT - 34}" y="{y(value) + 4:.1f}">{value} dB</text>')
    for k, level in enumerate(summaries["median"]):
        out.append(f'<circle cx="{x(k):.1f}" cy="{y(level - 28):.1f}" r="1.8" fill="#b9b4a6"/>')
    for k, (deviation, chart) in enumerate(zip(rows["deviation"], rows["chart"].fillna(False), strict=True)):
        if not np.isnan(deviation):
            out.append(f'<circle cx="{x(k):.1f}" cy="{y(deviation):.1f}" r="2.2" fill="#222"/>')
        if chart:
            out.append(f'<rect x="{x(k) - 3:.1f}" y="{BOTTOM + 8}" width="6.4" height="4" fill="#222"/>')
    marks = [(6, "first reference", 0), (34, "full reference", 0), (GREASED, "greased", 14)]
    raised = rows["onset"].isin(["gradual", "abrupt"]).to_numpy()
    marks += [(k, f"onset {rows['onset'].iloc[k]}", 28) for k in np.flatnonzero(raised)[:1]]
    answers = rows["response"].isin(["held", "returned"]) & rows["response"].ne(rows["response"].shift())
    marks += [(k, f"response {rows['response'].iloc[k]}", 42 + 14 * j) for j, k in enumerate(np.flatnonzero(answers))]
    for k, text, drop in marks:
        out.append(f'<line x1="{x(k):.1f}" x2="{x(k):.1f}" y1="{40 + drop}" y2="{BOTTOM}" stroke="#222" '
                   f'stroke-dasharray="3 4"/>')  # fmt: skip
        out.append(f'<text x="{x(k) + 4:.1f}" y="{48 + drop}">{text}</text>')
    out.append("</svg>")
    Path(__file__).with_suffix(".svg").write_text("\n".join(out) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
