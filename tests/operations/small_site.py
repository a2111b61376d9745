"""A small invented site for tests of the nightly batch: three machines, five weeks of hourly exports."""

import os
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

NIGHTLY = """
[site]
name = "Small site"
zone = "Europe/Lisbon"
assumed_last_greasing = 2026-01-01

[files]
bearings = "bearings.csv"
points = "points.csv"
events = "events.csv"
sources = ["long.toml"]

[events]
history = true

[night]
workers = {workers}
batch = {batch}
"""

SOURCE = """
[source]
name = "long"
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
quality = "quality"
"""

BEARINGS = """bearing_id,machine_id,route,designation,speed_rpm,gun_g_per_stroke,commissioned
M1-DE,M1,R1,6316,1480,1.3,2026-01-01
M1-NDE,M1,R1,6313,1480,1.3,2026-01-01
M2-DE,M2,R1,22220,990,1.3,2026-01-01
M2-NDE,M2,R1,22220,990,1.3,2026-01-01
M3-DE,M3,R2,6205-2RS1,2950,,2026-01-01
"""

EVENTS = """time,kind,bearing_id,grease_g,who
2026-01-08T09:00,relubrication,M1-DE,33,A. Okafor
2026-03-01T09:00,relubrication,M1-NDE,23,A. Okafor
2026-04-20T09:00,relubrication,M2-DE,,A. Okafor
2026-04-25T09:00,relubrication,M2-NDE,41.4,A. Okafor
"""

FIRST = datetime(2026, 4, 26, tzinfo=UTC)
NOW = datetime(2026, 6, 6, 6, 30, tzinfo=UTC)
NIGHTS = [date(2026, 6, 2), date(2026, 6, 3), date(2026, 6, 4)]
DAYS = 40
LEVELS = {"ultrasound": (30.0, 0.5), "velocity": (1.5, 0.05), "temperature": (58.0, 0.8)}
UNITS = {"ultrasound": "dB", "velocity": "mm/s rms", "temperature": "degC"}


def write_small_site(folder: Path, workers: int = 1, batch: int = 300, days: int = DAYS) -> Path:
    """Write the site; M1-DE's ultrasound rises by 10 dB over the last sixteen days."""
    bearings = [line.split(",")[0] for line in BEARINGS.splitlines()[1:]]
    points = ["point_id,bearing_id,tag,quantity,unit,collector"]
    rng = np.random.default_rng(7)
    lines = ["timestamp,tag,value,quality"]
    hours = np.arange(days * 24)
    for bearing in bearings:
        for quantity, (level, noise) in LEVELS.items():
            tag = f"{bearing}.{quantity}"
            points.append(f"{tag},{bearing},{tag},{quantity},{UNITS[quantity]},C1")
            values = level + noise * rng.standard_normal(len(hours))
            if bearing == "M1-DE" and quantity == "ultrasound":
                values += np.clip((hours / 24 - (days - 16)) / 16 * 10, 0, None)
            lines += [
                f"{FIRST + timedelta(hours=int(h)):%Y-%m-%dT%H:%M:%SZ},{tag},{v:.2f},Good"
                for h, v in zip(hours, values, strict=True)
            ]
    lines += ["2026-05-02T00:00:00Z,UNKNOWN.TAG,1.0,Good", lines[1], "2026-05-02T01:30:00Z,M1-DE.velocity,Bad,Good"]
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    (folder / "nightly.toml").write_text(NIGHTLY.format(workers=workers, batch=batch))
    (folder / "long.toml").write_text(SOURCE)
    (folder / "bearings.csv").write_text(BEARINGS)
    (folder / "points.csv").write_text("\n".join(points) + "\n")
    (folder / "events.csv").write_text(EVENTS)
    export = folder / "exports" / "all.csv"
    export.write_text("\n".join(lines) + "\n")
    os.utime(export, (NOW.timestamp(), NOW.timestamp()))
    return folder
