"""A fleet through the years as daily summaries, with the failures that its interval programme did not prevent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from condlube.errors import InvalidArgument
from condlube.register.events import parse_events
from condlube.register.model import Register, Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import conform
from condlube.simulation.careers import Career, simulate_career
from condlube.simulation.lubrication import Conditions, interval_h
from condlube.simulation.signals import Deviations
from condlube.simulation.timeline import FloatArray, red_noise

DESIGNS = (("6313", 1480), ("6316", 1485), ("NU 314", 1480), ("22216", 740), ("6310", 2950), ("NU 318", 990))
MACHINES_PER_COLLECTOR = 8
ZONE = ZoneInfo("UTC")
KNOWN_AFTER_H = 6
HOUSING_DEGC = 54.0
QUANTITIES = {"ultrasound": "dB", "velocity": "mm/s rms", "temperature": "degC"}
SPREADS = {"ultrasound": 0.6, "velocity": 0.08, "temperature": 0.8}
"""Spread of the readings within a day."""
OCTILE_SIGMA = np.array([-1.65, -0.89, -0.49, -0.16, 0.16, 0.49, 0.89, 1.65])
"""Means of the eight equal parts of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class Fleet:
    """Register, daily summaries and events as schema tables, and the truth: one row a fault.

    Truth rows: ``bearing_id``, ``fault`` (dry, spalling, unbalance), ``onset`` and ``ended`` (dates), ``failed``.
    """

    register: Register
    summaries: pa.Table
    events: pa.Table
    truth: list[dict[str, Any]]


def simulate_fleet(
    rng: np.random.Generator,
    n_bearings: int,
    years: float,
    *,
    spalling_per_year: float = 0.02,
    unbalance_per_year: float = 0.03,
    noise_db: float = 0.5,
    first: date = date(2023, 1, 1),
) -> Fleet:
    """Bearings greased at 0.85 to 1.0 of their interval, whose grease lives follow L01 = t_f and L10 = 2.7 t_f.

    One in some hundred fillings ends before it is renewed: the bearing dries, and fails where nobody comes in time.
    Spalling and unbalance come at random. Every failure is recorded with what it was, every replacement too. A
    ``summaries`` row is one point and day; 1,000 bearings over 3 years are 3.3 million of them. Raises
    ``InvalidArgument`` for an empty fleet or history.
    """
    days = round(365.25 * years)
    if n_bearings < 1 or days < 1:
        raise InvalidArgument("n_bearings, years", (n_bearings, years), "at least one bearing and one day")
    register = _register(n_bearings, first)
    career_of = {
        bearing["bearing_id"]: simulate_career(
            rng,
            days,
            _interval_days(bearing),
            spalling_per_year=spalling_per_year,
            unbalance_per_year=unbalance_per_year,
        )
        for bearing in register.bearings.to_pylist()
    }
    hall = 24.0 - 3.5 * np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25) + red_noise(rng, days, 3.0, 1.8)
    levels = [_levels(rng, career.deviations, hall, noise_db) for career in career_of.values()]
    tables = [_summaries(list(career_of), name, levels, hall, first) for name in QUANTITIES]
    truth = [
        {
            "bearing_id": bearing_id,
            "fault": fault.kind,
            "onset": first + timedelta(days=int(fault.onset_day)),
            "ended": first + timedelta(days=int(fault.ended_day)),
            "failed": fault.failed,
        }
        for bearing_id, career in career_of.items()
        for fault in career.faults
    ]
    return Fleet(register, pa.concat_tables(tables), _events(career_of, register, first), truth)


def _register(n: int, first: date) -> Register:
    bearings = ["bearing_id,machine_id,designation,speed_rpm,commissioned,grease_assigned"]
    points = ["point_id,bearing_id,quantity,unit,collector"]
    for k in range(n):
        designation, speed = DESIGNS[k % len(DESIGNS)]
        bearings.append(f"B{k:05d},M{k // 2:05d},{designation},{speed},{first.year - 3}-01-01,G1")
        collector = k // (2 * MACHINES_PER_COLLECTOR)
        points += [f"B{k:05d}-{name},B{k:05d},{name},{unit},C{collector:04d}" for name, unit in QUANTITIES.items()]
    greases = "grease_id,thickener,base_oil,viscosity_40_mm2_s\nG1,lithium_complex,mineral,150\n"
    return parse_register(
        Text("bearings.csv", "\n".join(bearings)),
        Text("greases.csv", greases),
        Text("points.csv", "\n".join(points)),
        Site("simulated", ZONE),
    )


def _interval_days(bearing: Mapping[str, Any]) -> float:
    conditions = Conditions(bearing["bearing_type"], bearing["bore_mm"])
    ring = np.array([HOUSING_DEGC + bearing["housing_to_ring_k"]])
    return float(interval_h(conditions, np.array([bearing["speed_rpm"]]), ring)[0]) / 24.0


def _levels(rng: np.random.Generator, truth: Deviations, hall: FloatArray, noise_db: float) -> dict[str, FloatArray]:
    """Daily median level of each quantity, and the load under which it was read, shape (days,) each."""
    days = len(hall)
    load = 72.0 + red_noise(rng, days, 2.0, 3.0)

    def noise(sd: float) -> FloatArray:
        return red_noise(rng, days, 1.5, sd)

    return {
        "load": load,
        "ultrasound": 22.0 + rng.normal(0, 2) + 0.02 * (load - 75) + truth.ultrasound_db + noise(noise_db),
        "velocity": 1.3 * np.exp(rng.normal(0, 0.15) + noise(0.03)) * truth.velocity_ratio,
        "temperature": hall + HOUSING_DEGC - 24.0 + 0.2 * (load - 72) + truth.temperature_k + noise(0.5),
    }


def _summaries(
    bearing_ids: Sequence[str], quantity: str, levels: Sequence[Mapping[str, FloatArray]], hall: FloatArray, first: date
) -> pa.Table:
    """Summary rows of one quantity of every bearing: continuous service at one speed, one cell a day."""
    bearings, days = len(bearing_ids), len(hall)
    n = bearings * days
    median = np.concatenate([row[quantity] for row in levels])
    load = np.concatenate([row["load"] for row in levels])
    midnight = np.tile((np.datetime64(first, "D") + np.arange(1, days + 1)).astype("datetime64[us]"), bearings)
    hour = np.timedelta64(3_600_000_000, "us")
    spread = SPREADS[quantity]
    columns: dict[str, Any] = {
        "point_id": pa.array([f"{name}-{quantity}" for name in bearing_ids]).take(np.repeat(np.arange(bearings), days)),
        "date": midnight.astype("datetime64[D]") - np.timedelta64(1, "D"),
        "cell": np.zeros(n, dtype=np.int64),
        "known_at": midnight + KNOWN_AFTER_H * hour,
        "n": np.full(n, 24),
        "n_total": np.full(n, 24),
        "running_h": np.full(n, 24.0),
        "median": median,
        "spread": np.full(n, spread),
        "p10": median - 1.28 * spread,
        "p90": median + 1.28 * spread,
        "coverage": np.ones(n),
        "fault": pa.array([""]).take(np.zeros(n, dtype=np.int64)),
        "load": load,
        "ambient_degc": np.tile(hall, bearings),
        "load_lagged": load,
        "ambient_lagged_degc": np.tile(hall, bearings),
        "starts": np.zeros(n, dtype=np.int64),
        "last_value": median,
        "last_time": midnight - hour,
    }
    if quantity == "temperature":
        octiles = (median[:, None] + spread * OCTILE_SIGMA).ravel()
        columns["octiles"] = pa.ListArray.from_arrays(pa.array(8 * np.arange(n + 1, dtype=np.int32)), pa.array(octiles))
    return conform("summaries", pa.table(columns))


def _events(career_of: Mapping[str, Career], register: Register, first: date) -> pa.Table:
    begin = datetime.combine(first, datetime.min.time())
    lines = ["time,kind,bearing_id,grease_g,grease_id,finding,failure_mode,lubrication_related"]
    for bearing_id, career in career_of.items():
        for what in career.events:
            when = begin + timedelta(hours=round(24 * what.day))
            lines.append(f"{when.isoformat()},{what.kind},{bearing_id},{','.join(_details(what.details))}")
    events = parse_events(Text("events.csv", "\n".join(lines)), register)
    known_at = pc.add(events["time"], timedelta(hours=KNOWN_AFTER_H))
    return events.set_column(events.schema.get_field_index("known_at"), "known_at", known_at)


def _details(details: Mapping[str, str]) -> Iterable[str]:
    return (
        details.get(name, "") for name in ("grease_g", "grease_id", "finding", "failure_mode", "lubrication_related")
    )
