"""A decided small site with hostile texts in its register, for tests of the review pages."""

import shutil
import sys
from datetime import date, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operations"))
from small_site import NIGHTS, NOW, write_small_site

from condlube.operations.nightly import nightly

MORNING = NOW + timedelta(minutes=30)
LAST: date = NIGHTS[-1]
DRY = "M1-DE"
OVERDUE = "M5-DE"
"""Nothing is measured on it, and its interval is used up: a greasing by time."""
HOSTILE = "M4-DE"
SCRIPT = "<script>document.title='hit'</script>"
FORMULA = "=1+1"
LAST_GREASED = "2025-04-01"
HEAD = "bearing_id,machine_id,area,route,position,designation,speed_rpm,gun_g_per_stroke,commissioned,criticality\n"
ROWS = f"""M1-DE,M1,Hall A,R1,drive end,6316,1480,1.3,2026-01-01,high
M1-NDE,M1,Hall A,R1,non-drive end,6313,1480,1.3,2026-01-01,normal
M2-DE,M2,Hall B,R1,drive end,22220,990,1.3,2026-01-01,normal
M2-NDE,M2,Hall B,R1,non-drive end,22220,990,1.3,2026-01-01,normal
M3-DE,M3,Hall B,R2,drive end,6205-2RS1,2950,,2026-01-01,normal
{OVERDUE},M5,Hall C,R3,drive end,6316,1480,1.3,2023-01-01,normal
{HOSTILE},M4,"{SCRIPT}",{FORMULA},"""
ROWS += '"""><img src=x onerror=alert(1)>",6316,1480,1.3,2019-01-01,highest\n'


def write_decided_site(folder: Path) -> Path:
    """Write the site and decide its three nights."""
    write_small_site(folder)
    (folder / "bearings.csv").write_text(HEAD + ROWS)
    with (folder / "events.csv").open("a") as events:
        events.write(f"{LAST_GREASED}T09:00,relubrication,{OVERDUE},33,A. Okafor\n")
    nightly(folder, NOW, NIGHTS)
    return folder


def copy_of(site: Path, folder: Path) -> Path:
    """A copy that a test may write to."""
    shutil.copytree(site, folder)
    return folder


def fixed_clock(at: datetime = MORNING):
    """A clock that stands still."""
    return lambda: at
