"""Speed of replay and trial: python tests/benchmarks/backtest.py FOLDER [BEARINGS YEARS EVERY].

Writes a simulated fleet into FOLDER (kept for the next call), replays it from its stored summaries with two workers as
``condlube backtest`` does, then tries one policy. To reach (blueprint, section 11): 1,000 bearings over 3 years in 60 s
on two cores, a trial in 3 s, under 3 GB for every process.
"""

from __future__ import annotations

import multiprocessing
import resource
import shutil
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "operations"))
from fleet_site import write_fleet_site

from condlube.backtest.judge import DECIDED
from condlube.backtest.trial import Facts
from condlube.operations.backtest import backtest
from condlube.operations.check import check
from condlube.simulation.fleet import simulate_fleet

FIRST = date(2023, 1, 1)


def main(folder: Path, bearings: int = 1000, years: float = 3.0, every: int = 1) -> None:
    if not folder.exists():
        write_fleet_site(folder, simulate_fleet(np.random.default_rng(1), bearings, years), workers=2)
    shutil.rmtree(folder / "store" / "cache" / "backtest", ignore_errors=True)
    last = FIRST + timedelta(days=round(365.25 * years) - 1)
    told: dict[str, float] = {}
    begin = time.perf_counter()
    made = backtest(folder, FIRST + timedelta(days=1), last, every,
                    on_step=lambda step, *_: told.update({step: time.perf_counter() - begin}))  # fmt: skip
    whole, workers = time.perf_counter() - begin, peaks()
    nights = len(made.span.nights)
    print(f"{bearings} bearings, {nights} nights of {years:g} years: {whole:.1f} s")
    print(", ".join(f"{step} done after {s:.1f} s" for step, s in told.items()))
    files = sorted((folder / "store" / "cache" / "backtest").glob("decisions-*.parquet"))
    decisions = pd.concat([pd.read_parquet(file, columns=list(DECIDED)) for file in files], ignore_index=True)
    checked = check(folder)
    criticality = checked.register.bearings.to_pandas().set_index("bearing_id")["criticality"]
    facts = Facts(decisions, criticality, checked.policy)
    facts.calls(checked.policy)
    begin = time.perf_counter()
    facts.calls(checked.policy)
    print(f"one trial of {len(decisions):,} bearing-nights: {time.perf_counter() - begin:.2f} s")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"most memory: this process {own:.2f} GB, workers", *(f"{most:.2f} GB" for most in sorted(workers)))


def peaks() -> list[float]:
    """Most memory that each living worker ever held, in GB (Linux)."""
    files = (Path(f"/proc/{child.pid}/status") for child in multiprocessing.active_children())
    return [int(line.split()[1]) / 1e6 for file in files for line in file.read_text().splitlines() if "VmHWM" in line]


if __name__ == "__main__":
    main(Path(sys.argv[1]), *(kind(text) for kind, text in zip((int, float, int), sys.argv[2:], strict=False)))
