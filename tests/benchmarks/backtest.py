"""Speed of replay and trial: python tests/benchmarks/backtest.py BEARINGS YEARS EVERY.

From the summaries of a simulated fleet in memory; prints seconds for deviations, decisions and one policy trial.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from condlube.backtest.replay import Span, compare_nights, decide_nights, learn_nights, no_expected
from condlube.backtest.trial import Facts
from condlube.chain import Plant
from condlube.operations.decide import decide_batch
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema
from condlube.simulation.fleet import simulate_fleet

FIRST = date(2023, 1, 1)
DEFAULT = Path(__file__).parents[2] / "condlube" / "policy" / "default.toml"


class Held:
    """A history in memory."""

    def __init__(self, rows: pd.DataFrame, events: pd.DataFrame) -> None:
        self.rows, self.events = rows, events
        self.reviews = arrow_schema("reviews").empty_table().to_pandas()
        self._day = pd.to_datetime(rows["date"])

    def summaries(
        self, first: date | None, last: date, known_by: datetime, columns: Sequence[str] | None = None
    ) -> pd.DataFrame:
        wanted = (self._day <= pd.Timestamp(last)) & (self.rows["known_at"] <= known_by)
        if first is not None:
            wanted &= self._day >= pd.Timestamp(first)
        return self.rows.loc[wanted, list(columns or self.rows.columns)].reset_index(drop=True)


def main(bearings: int, years: float, every: int) -> None:
    policy = parse_policy(DEFAULT.read_text(encoding="utf-8"), "default.toml")
    made = simulate_fleet(np.random.default_rng(1), bearings, years)
    plant, held = Plant.of(made.register), Held(made.summaries.to_pandas(), made.events.to_pandas())
    last = FIRST + timedelta(days=round(365.25 * years) - 1)
    span = Span.of(FIRST + timedelta(days=60), last, plant, 6, every)
    expected, tables, seconds = no_expected(), [], {"learn": 0.0, "compare": 0.0, "decide": 0.0}
    for nights in span.chunks:
        begin = time.perf_counter()
        learned = learn_nights(plant, held, expected, nights, span, policy)
        seconds["learn"] += time.perf_counter() - begin
        begin = time.perf_counter()
        found = compare_nights(plant, held, expected, learned, nights, span, policy)
        expected = pd.concat([expected, *learned], ignore_index=True)
        compared = time.perf_counter()
        tables += list(decide_nights(plant, held, found, nights, span, policy, decide_batch))
        seconds["compare"] += compared - begin
        seconds["decide"] += time.perf_counter() - compared
    decisions = pa.concat_tables(tables).to_pandas()
    facts = Facts(decisions, plant.bearings.set_index("bearing_id")["criticality"], policy)
    facts.calls(policy)
    begin = time.perf_counter()
    facts.calls(policy)
    trial = time.perf_counter() - begin
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{bearings} bearings, {len(span.nights)} nights of {years:g} years, {len(decisions)} bearing-nights")
    print(", ".join(f"{name} {s:.1f} s" for name, s in seconds.items()) + f", trial {trial:.2f} s, {memory:.2f} GB")
    print(f"trial of 1,000 bearings x 3 years at this rate: {trial * 1000 * 1096 / len(decisions):.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]))
