"""Simulated histories of daily summaries with known truth, walked through detection and the decision rule."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from importlib.resources import files
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from condlube.advisory.decide import decide
from condlube.detection.deviations import deviations
from condlube.detection.references import advance
from condlube.policy.parse import parse_policy
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.schema.nights import as_of, nights_between

ZONE = ZoneInfo("Europe/Lisbon")
FIRST = date(2023, 1, 1)
GREASES = """grease_id,thickener,base_oil,viscosity_40_mm2_s,viscosity_100_mm2_s,nlgi,temperature_min_degc,\
temperature_max_degc,extreme_pressure
alpha,lithium_complex,mineral,110,11.5,2,-30,140,yes
"""
UNITS = {"ultrasound": "dB", "acceleration": "g", "velocity": "mm/s", "temperature": "degC", "crest_factor": "1",
         "kurtosis": "1"}  # fmt: skip


def to_canonical(quantity, level):
    """Levels in dB, logarithms and K back to canonical units: the simulator's own words for the scales."""
    if quantity == "acceleration":
        return 10 ** (level / 20)
    return np.exp(level) if quantity in ("velocity", "kurtosis", "crest_factor") else level


@dataclass
class Fleet:
    """Bearings with one point per quantity. Arrays are (bearings, days); levels are on the scale of comparison."""

    bearings: int
    days: int
    quantities: tuple = ("ultrasound",)
    seed: int = 0
    noise: dict = field(default_factory=lambda: {
        "ultrasound": 0.5, "acceleration": 0.4, "velocity": 0.04, "temperature": 0.8, "crest_factor": 0.05,
        "kurtosis": 0.06,
    })  # fmt: skip
    correlation: float = 0.3
    speed: str = "fixed"
    readings: int = 24
    collectors: int = 1
    sampling: str = "continuous"
    day_step: int = 1
    per_machine: int = 2
    tags: bool = True  # speed and load are on record

    def __post_init__(self):
        self.random = np.random.default_rng(self.seed)
        shape = (self.bearings, self.days)
        day = np.arange(self.days)
        rpm = np.full(shape, 1480.0)
        if self.speed == "two":
            rpm = np.where(self.random.random(shape) < 0.4, 990.0, 1480.0)
        elif self.speed == "variable":
            drift = self._noise(shape, 0.8)
            rpm = np.clip(1200 + 180 * drift, 700, 1500)
        elif self.speed == "changes":  # another duty from half time on, within what a first weeks' mix showed
            rpm = np.where((day % 9 < 3) | (day > self.days // 2), 1100.0, 1480.0) + self.random.normal(0, 5, shape)
        machine = np.arange(self.bearings) // self.per_machine * self.per_machine
        self.rpm = rpm if self.tags else rpm[machine]  # what no tag tells, the bearings of a machine still share
        self.ambient = 18 - 9 * np.cos(2 * np.pi * (day - 15) / 365)[None, :] + 2.5 * self._noise((1, self.days), 0.7)
        self.ambient = np.broadcast_to(self.ambient, shape)
        self.load = np.clip(75 + 10 * self._noise(shape, 0.5), 30, 110)
        self.rise = {q: np.zeros(shape) for q in self.quantities}
        self.fault = np.full(shape, "", dtype=object)
        self.cell = np.zeros(shape, dtype=int)

    def _noise(self, shape, correlation):
        white = self.random.normal(size=shape)
        made = np.empty(shape)
        made[:, 0] = white[:, 0]
        for k in range(1, shape[1]):
            made[:, k] = correlation * made[:, k - 1] + np.sqrt(1 - correlation**2) * white[:, k]
        return made

    def level(self, quantity):
        per_octave = {"ultrasound": 5.0, "acceleration": 7.0, "velocity": 0.5, "temperature": 6.0}.get(quantity, 0.0)
        base = {"ultrasound": 28.0, "acceleration": -10.0, "velocity": 0.5, "temperature": 30.0}.get(quantity, 1.1)
        own = {"ultrasound": 1.5, "acceleration": 2.5, "velocity": 0.2, "temperature": 3.0}.get(quantity, 0.1)
        shape = (self.bearings, self.days)
        level = base + own * self.random.normal(size=(self.bearings, 1)) + per_octave * np.log2(self.rpm / 1480)
        if quantity == "temperature":
            level = level + 0.9 * self.ambient + 0.1 * (self.load - 75)
        return level + self.noise[quantity] * self._noise(shape, self.correlation)

    def tables(self):
        """Summaries, points and bearings of the fleet."""
        names = [f"B{k:03d}" for k in range(self.bearings)]
        lines = ["bearing_id,designation,speed_rpm,grease_assigned,commissioned,machine_id"]
        lines += [f"{name},6313,1480,alpha,2020-01-01,M{k // self.per_machine:03d}" for k, name in enumerate(names)]
        points = ["point_id,bearing_id,tag,quantity,unit,sampling,collector"]
        points += [
            f"{name}.{q},{name},{name}.{q},{q},{UNITS[q]},{self.sampling},C{k % self.collectors}"
            for k, name in enumerate(names) for q in self.quantities
        ]  # fmt: skip
        register = parse_register(
            Text("bearings.csv", "\n".join(lines)), Text("greases.csv", GREASES), Text("points.csv", "\n".join(points)),
            Site("plant", ZONE, None),
        )  # fmt: skip
        dates = pd.date_range(FIRST, periods=self.days)[:: self.day_step]
        last = dates.tz_localize("UTC") + pd.Timedelta(hours=22)
        parts = []
        for q in self.quantities:
            value = to_canonical(q, self.level(q) + self.rise[q])[:, :: self.day_step]
            rows, days = value.shape
            flat = {
                "median": value, "speed_rpm": self.rpm, "speed_lagged_rpm": self.rpm, "load": self.load,
                "load_lagged": self.load, "ambient_degc": self.ambient, "ambient_lagged_degc": self.ambient,
                "fault": self.fault, "cell": self.cell,
            }  # fmt: skip
            if not self.tags:
                flat |= {k: np.full_like(v, np.nan) for k, v in flat.items() if k.startswith(("speed", "load"))}
            flat = {k: (v if v.shape[1] == days else v[:, :: self.day_step]).ravel() for k, v in flat.items()}
            parts.append(pd.DataFrame({
                "point_id": np.repeat([f"{name}.{q}" for name in names], days), "date": np.tile(dates, rows),
                "known_at": np.tile(last + pd.Timedelta(hours=6), rows), "last_time": np.tile(last, rows), **flat,
            }))  # fmt: skip
        made = pd.concat(parts, ignore_index=True)
        made = made[made["fault"] != "missing"]
        sound = (made["fault"] == "") & (made["cell"] >= 0)
        made["n"] = np.where(sound, self.readings, 0)
        made["n_total"], made["running_h"], made["coverage"], made["starts"] = self.readings, 24.0, 1.0, 0
        made["spread"] = 0.01 * made["median"].abs()
        made["last_value"] = made["median"]
        summaries = made.reindex(columns=arrow_schema("summaries").names)
        self.made, self.register = summaries, register  # levels are drawn anew by each call
        return summaries, register


@dataclass
class Walked:
    """What detection and the decision rule made of a fleet: deviations, and calls as (bearings, nights)."""

    deviations: pd.DataFrame
    expected: pd.DataFrame
    calls: np.ndarray
    status: np.ndarray  # condition_status

    def of(self, quantity, column):
        """A column of the deviations as (bearings, nights)."""
        rows = self.deviations[self.deviations["quantity"] == quantity].sort_values(["bearing_id", "night"])
        return rows[column].to_numpy(na_value=False if column == "chart" else None).reshape(self.calls.shape)


def default_policy():
    return parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")


def events_of(rows=()):
    return rows_to_table("events", rows).to_pandas()


def walk(fleet, policy, x=0.5, days=200.0, events=(), call=True):
    """Learn and compare; then decide every bearing-night with ``x`` of the interval used up, ``days`` after greasing.

    A call reads no earlier call, so that all nights are decided at once, each as a bearing of its own.
    """
    summaries, register = fleet.tables()
    bearings, greases, points = (t.to_pandas() for t in (register.bearings, register.greases, register.points))
    nights = nights_between(FIRST, FIRST + timedelta(days=fleet.days - 1))
    happened = events_of(events)
    end = as_of(nights[-1], ZONE)
    none = rows_to_table("expected", []).to_pandas()
    expected = advance(summaries, none, happened, points, bearings, end, ZONE, policy)
    found = deviations(summaries, expected, happened, points, bearings, nights, ZONE, policy)
    told = {"call": np.full((fleet.bearings, fleet.days), "hold", dtype=object), "condition_status": None}
    if call:
        at = as_of(nights[-1], ZONE)
        number = ((found["night"] - found["night"].min()) / pd.Timedelta(days=1)).astype(int).astype(str).str.zfill(4)
        tonight = found.assign(bearing_id=found["bearing_id"].astype(str) + "@" + number)
        tonight["level_time"] = pd.Timestamp(at) - pd.Timedelta(hours=2)
        every = bearings.loc[bearings.index.repeat(fleet.days)].reset_index(drop=True)
        every["bearing_id"] += "@" + pd.Series(np.tile(np.arange(fleet.days), fleet.bearings)).astype(str).str.zfill(4)
        decided = decide(
            every, greases, happened.iloc[:0], life_of(every, x, days, at), tonight,
            rows_to_table("reviews", []).to_pandas(), Site("plant", ZONE, None), policy, at,
        )  # fmt: skip
        rows = decided.decisions.set_index("bearing_id").reindex(every["bearing_id"])
        told = {c: rows[c].to_numpy(dtype=object).reshape(fleet.bearings, fleet.days) for c in told}
    return Walked(found, expected, told["call"], told["condition_status"])


def night(fleet, expected, when, policy):
    """Deviations of one night from the window behind it alone."""
    made = fleet.made
    near = made[made["date"].between(*map(pd.Timestamp, (when - timedelta(policy.detection.window_days + 1), when)))]
    points, bearings = (t.to_pandas() for t in (fleet.register.points, fleet.register.bearings))
    return deviations(near, expected, events_of(), points, bearings, [when], ZONE, policy)


def life_of(bearings, x, days, at):
    """Life of continuously running bearings, as ``assessment.life.life`` would tell it."""
    hours = days * 24
    return pd.DataFrame({
        "bearing_id": bearings["bearing_id"], "x": x, "rate_per_d": x / days, "x_calendar": days / 1461,
        "calendar_rate_per_d": 1 / 1461, "x_since": x, "running_h": hours, "days": days,
        "last_greased": pd.Timestamp(at) - pd.Timedelta(days=days), "origin": "greasing", "interval_h": hours / x,
        "interval_method": "trade_formula", "interval_reason": "", "dose_g": 23.1, "dose_ratio": float("nan"),
        "last_grease": None,
    }, index=range(len(bearings)))  # fmt: skip


def matters(calls):
    """New matters: nights on which a call turns from hold to something else."""
    away = calls != "hold"
    return int((away[:, 1:] & ~away[:, :-1]).sum() + away[:, 0].sum())


def ramp(days, first, length, size):
    """A rise of ``size`` over ``length`` days from day ``first`` on."""
    return size * np.clip((np.arange(days) - first) / length, 0, 1)


@pytest.fixture(scope="session")
def truth():
    """The simulator and its measures: Fleet, walk, night, matters, ramp, and the default policy."""
    return SimpleNamespace(Fleet=Fleet, walk=walk, night=night, matters=matters, ramp=ramp, policy=default_policy())
