"""Two real ventilation units as a site: the readings of ``skchange.datasets.load_hvac_system_data`` (BSD-3).

Thirty days of vibration of each unit, ten minutes apart, with no speed, current or power. The source calls it a
"vibration magnitude" and gives no unit; at rest it reads 0.001 sqrt(17), as three axes in steps of 0.001 do. That fits
acceleration in g and velocity in mm/s alike, so the site can be written as either. Machines, designations and the date
of commissioning are invented. Values are those of the source, and so are the times of unit 1; unit 0 was recorded 38
weeks earlier and is moved by just that, weekday on weekday, so that both run through the same thirty nights.
"""

import os
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
from skchange.datasets import load_hvac_system_data

from condlube.schema.nights import nights_between

NIGHTLY = """
[site]
name = "Two ventilation units"
zone = "UTC"

[files]
bearings = "bearings.csv"
points = "points.csv"
sources = ["long.toml"]
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
"""

BEARINGS = """bearing_id,machine_id,designation,speed_rpm,commissioned
U0,unit 0,6310,1480,2023-11-01
U1,unit 1,6310,1480,2023-11-01
"""

UNITS = {"velocity": "mm/s rms", "acceleration": "g rms"}
TAGS = {0: "U0.VIB", 1: "U1.VIB"}
LATER = {0: np.timedelta64(38, "W"), 1: np.timedelta64(0, "W")}
NIGHTS = nights_between(date(2023, 12, 9), date(2024, 1, 7))
NOW = datetime(2024, 1, 8, 12, tzinfo=UTC)


def write_ventilation(folder: Path, quantity: str) -> Path:
    """Write the site with the readings as ``quantity``, velocity or acceleration; gives its folder."""
    data = load_hvac_system_data()
    lines = ["timestamp,tag,value"]
    for time, value, unit in zip(data["time"], data["data"][:, 0], data["unit_id"], strict=True):
        at = (time + LATER[int(unit)]).astype("datetime64[s]")
        lines.append(f"{at}Z,{TAGS[int(unit)]},{float(value)!r}")
    points = ["point_id,bearing_id,tag,quantity,unit"]
    points += [f"U{unit}.{quantity},U{unit},{tag},{quantity},{UNITS[quantity]}" for unit, tag in TAGS.items()]
    (folder / "exports").mkdir(parents=True)
    (folder / "nightly.toml").write_text(NIGHTLY)
    (folder / "long.toml").write_text(SOURCE)
    (folder / "bearings.csv").write_text(BEARINGS)
    (folder / "points.csv").write_text("\n".join(points) + "\n")
    export = folder / "exports" / "ventilation.csv"
    export.write_text("\n".join(lines) + "\n")
    os.utime(export, (NOW.timestamp(), NOW.timestamp()))
    return folder
