"""Machine code of the compiled loops: kept in the store's cache, and made in a process of its own on the first night.

Compiling takes longer than a small plant's night. It goes on beside the reading of exports, on another core.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

from condlube.errors import ConfigurationError
from condlube.operations.definition import default_policy, load
from condlube.units import CANONICAL

_BEARINGS = "bearing_id,machine_id,designation,speed_rpm,commissioned\nB1,M1,6313,1480,2025-01-01\n"
_QUANTITIES = ("ultrasound", "acceleration", "velocity", "temperature")
_POINTS = "point_id,bearing_id,quantity,unit\n" + "".join(f"{q},B1,{q},{CANONICAL[q]}\n" for q in _QUANTITIES)
_DAYS = 45


@contextmanager
def compiling(site: Path) -> Iterator[str]:
    """While the loops that a night needs are compiled, if the store of ``site`` has none. Gives a remark, or nothing.

    Has an effect only before these loops are first imported, and none on a site whose definition has faults.
    """
    try:
        folder = load(site).store / "cache" / "compiled"
    except ConfigurationError:
        yield ""
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        writable = os.access(folder, os.W_OK)
    except OSError:
        writable = False
    if not writable:
        yield f"{folder} cannot be written: what is compiled may not be kept for the next night"
        return
    kept = Path(os.environ.setdefault("NUMBA_CACHE_DIR", str(folder)))
    if kept != folder or any(folder.iterdir()):
        yield ""
        return
    command = [sys.executable, "-P", "-c", "from condlube.operations.compiled import compile_all; compile_all()"]
    quiet = subprocess.DEVNULL
    with subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=quiet) as beside:
        try:
            yield ""
        finally:
            beside.kill()


def compile_all() -> None:
    """Compile by taking one bearing, invented, running dry and forgotten, through the chain."""
    import numpy as np
    import pandas as pd

    from condlube.chain import Bearings, Plant, compare, decide, measure, turns
    from condlube.policy.parse import parse_policy
    from condlube.register.model import Site, Text
    from condlube.register.parse import parse_register
    from condlube.schema.arrow import arrow_schema
    from condlube.schema.nights import as_of
    from condlube.simulation.faults import dry
    from condlube.simulation.history import FIRST, UTC, hours_of, simulate_bearing_history

    policy = parse_policy(default_policy(), "default.toml")
    plant = Plant.of(parse_register(Text("bearings", _BEARINGS), None, Text("points", _POINTS), Site("", UTC, None)))
    running_dry = dry(hours_of(_DAYS), onset_h=24 * (_DAYS - 14), days=28, ultrasound_db=6.0)
    made = simulate_bearing_history(np.random.default_rng(0), _DAYS, running_dry, quantities=_QUANTITIES)
    hours = pd.date_range(pd.Timestamp(FIRST, tz="UTC"), periods=24 * _DAYS, freq="h", unit="us")
    parts = [pd.DataFrame({"point_id": name, "time": hours, "value": made.readings[name]}) for name in _QUANTITIES]
    readings = pd.concat(parts).assign(quality="good", known_at=hours[-1], ingest_id="")
    days = [FIRST + timedelta(days=k) for k in range(_DAYS)]
    tables = ("summaries", "expected", "events", "reviews")
    none = {name: arrow_schema(name).empty_table().to_pandas() for name in tables}
    end = as_of(days[-1], UTC)
    summaries = measure(readings, plant.points, plant.bearings, days, UTC, policy, none["summaries"])
    _, deviations = compare(plant, summaries, none["expected"], none["events"], days[-1], end, end, policy)
    batch = Bearings(turns(plant, policy), plant.points, deviations, summaries)
    decide(batch, plant, none["events"], none["reviews"], policy, end)
