"""The bearing page with two years of readings: server time of the first hit and of later ones, and its weight.

    python tests/benchmarks/pages.py FOLDER [NIGHTS]

FOLDER gets a site of one pump set with four bearings, five signals each and a speed signal, read every hour for two
years, greased as the interval asks, one bearing dry at the end; it is kept for the next time. The last NIGHTS nights
(default 60) are decided by the real chain, then closed months are put in order. To reach: 500 ms and 300 kB.
"""

import os
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import numpy as np

from condlube.operations.desk import Desk
from condlube.operations.nightly import nightly
from condlube.operations.upkeep import compact

FIRST = date(2024, 6, 1)
DAYS = 731
LAST = FIRST + timedelta(days=DAYS - 1)
NOW = datetime(LAST.year, LAST.month, LAST.day, 6, 30, tzinfo=UTC) + timedelta(days=1)
DRY = "P-1-PDE"
SIGNALS = {
    "ultrasound": ("dB", 30.0, 0.6), "acceleration": ("g rms", 0.8, 0.05), "velocity": ("mm/s rms", 1.6, 0.06),
    "crest_factor": ("", 4.0, 0.25), "temperature": ("degC", 58.0, 0.8),
}  # fmt: skip
BEARINGS = f"""bearing_id,machine_id,machine_kind,route,position,designation,speed_rpm,gun_g_per_stroke,commissioned
P-1-MDE,P-1,motor,R1,motor drive end,6319,1485,1.3,2024-01-01
P-1-MND,P-1,motor,R1,motor non-drive end,6316,1485,1.3,2024-01-01
{DRY},P-1,pump,R1,pump drive end,6316,1485,1.3,2024-01-01
P-1-PND,P-1,pump,R1,pump non-drive end,6316,1485,1.3,2024-01-01
"""
DEFINITION = """[site]
name = "Two years"
zone = "Europe/Lisbon"
[files]
bearings = "bearings.csv"
points = "points.csv"
events = "events.csv"
sources = ["hourly.toml"]
[events]
history = true
"""
SOURCE = """[source]
name = "hourly"
files = "exports/*.csv"
reader = "long"
history = true
settle_s = 0
[format]
zone = "UTC"
[columns]
time = "timestamp"
tag = "tag"
value = "value"
"""


def write_site(folder: Path) -> None:
    """Write the site's files, an export a month."""
    (folder / "exports").mkdir(parents=True)
    for name, text in (("nightly.toml", DEFINITION), ("hourly.toml", SOURCE), ("bearings.csv", BEARINGS)):
        (folder / name).write_text(text)
    names = [line.split(",")[0] for line in BEARINGS.splitlines()[1:]]
    points = ["point_id,bearing_id,machine_id,tag,quantity,unit,collector", "P-1.speed,,P-1,P-1.speed,speed,rpm,C1"]
    points += [f"{b}.{q},{b},,{b}.{q},{q},{unit},C1" for b in names for q, (unit, _, _) in SIGNALS.items()]
    (folder / "points.csv").write_text("\n".join(points) + "\n")
    greasings = [FIRST + timedelta(days=k) for k in range(40, DAYS - 60, 150)]
    events = [f"{day}T09:00,relubrication,{b},30,A. Okafor" for day in greasings for b in names]
    (folder / "events.csv").write_text("\n".join(["time,kind,bearing_id,grease_g,who", *events]) + "\n")
    rng = np.random.default_rng(5)
    hours = np.arange(DAYS * 24)
    speed = 1485 + 60 * np.sin(hours / 24 / 9) + rng.normal(0, 4, len(hours))
    series = {"P-1.speed": speed}
    for b in names:
        for q, (_, level, noise) in SIGNALS.items():
            values = level + noise * rng.standard_normal(len(hours)) + level * 0.1 * (speed / 1485 - 1)
            if b == DRY and q in ("ultrasound", "acceleration"):
                values += np.clip((hours / 24 - (DAYS - 20)) / 20, 0, None) * (10 if q == "ultrasound" else 1.0)
            series[f"{b}.{q}"] = values
    times = [datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC) + timedelta(hours=int(h)) for h in hours]
    months = np.array([f"{t:%Y-%m}" for t in times])
    for month in np.unique(months):
        lines = ["timestamp,tag,value"]
        for k in np.flatnonzero(months == month):
            stamp = f"{times[k]:%Y-%m-%dT%H:%M:%SZ}"
            lines += [f"{stamp},{tag},{values[k]:.3f}" for tag, values in series.items()]
        path = folder / "exports" / f"{month}.csv"
        path.write_text("\n".join(lines) + "\n")
        os.utime(path, (NOW.timestamp(), NOW.timestamp()))


def serve_and_time(folder: Path) -> None:
    """In a process of its own: the pages as a server that was just started gives them."""
    from starlette.testclient import TestClient

    from condlube.web.app import create_app
    from condlube.web.serve import warm_up

    app = create_app(folder)
    client = TestClient(app, base_url="http://127.0.0.1")
    begin = perf_counter()
    warm_up(app.state.frame)
    print(f"warming up after the start          {perf_counter() - begin:7.3f} s")
    kept = app.state.frame.desk.sight().kept
    for name in (DRY, "P-1-MDE", "P-1-MND"):
        for hit in ("first hit, not warmed up", "first hit, not warmed up", "again", "again"):
            if hit != "again":
                kept.pop("trends", None)
            timed(client, f"{name}, {hit}", "/bearing", id=name)
    timed(client, "every night of it, for zooming", "/api/bearing", id=DRY, whole="true")


def timed(client: Any, what: str, path: str, **asked: str) -> None:
    wall, cpu = perf_counter(), process_time()
    response = client.get(path, params=asked)
    wall, cpu = perf_counter() - wall, process_time() - cpu
    assert response.status_code == 200, response.text
    print(f"{what:35} {wall:7.3f} s wall {cpu:7.3f} s cpu {len(response.content) / 1000:7.1f} kB")


def main(folder: Path, nights: int) -> None:
    if not (folder / "nightly.toml").exists():
        write_site(folder)
        begin = perf_counter()
        nightly(folder, NOW, [LAST - timedelta(days=k) for k in range(nights - 1, -1, -1)])
        print(f"{nights} nights decided in {perf_counter() - begin:.0f} s")
        compact(Desk(folder).store, NOW)
    subprocess.run([sys.executable, __file__, "--serve", str(folder)], check=True)


if __name__ == "__main__":
    if sys.argv[1] == "--serve":
        serve_and_time(Path(sys.argv[2]))
    else:
        main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 60)
