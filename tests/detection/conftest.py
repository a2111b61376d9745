"""A tiny simulator of daily summaries, and the tables that detection takes."""

from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from condlube.detection.deviations import deviations
from condlube.detection.references import advance
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.schema.nights import as_of, nights_between

ZONE = ZoneInfo("Europe/Lisbon")
FIRST = date(2024, 1, 1)


def table(name, rows=()):
    return rows_to_table(name, rows).to_pandas()


class Plant:
    """Bearings with one point each; levels (bearings, days) in canonical units, NaN for no row."""

    def __init__(
        self, level, quantity="ultrasound", policy=None, sampling="continuous", events=(), collector="C", **columns
    ):  # fmt: skip
        self.level = np.atleast_2d(np.asarray(level, dtype=float))
        self.policy = policy
        count, self.days = self.level.shape
        self.points = table("points", [
            {"point_id": f"P{k:02d}", "bearing_id": f"B{k:02d}", "quantity": quantity, "sampling": sampling,
             "collector": collector}
            for k in range(count)
        ])  # fmt: skip
        self.bearings = table("bearings", [
            {"bearing_id": f"B{k:02d}", "machine_id": f"M{k}", "bearing_type": "deep_groove_ball", "speed_rpm": 1480.0}
            for k in range(count)
        ])  # fmt: skip
        self.events = table("events", [
            {"event_id": f"e{k}", "known_at": e["time"] + timedelta(hours=6), **e} for k, e in enumerate(events)
        ])  # fmt: skip
        self.summaries = self._summaries(count, columns)

    def _summaries(self, count, columns):
        dates = pd.date_range(FIRST, periods=self.days)
        last = dates.tz_localize("UTC") + pd.Timedelta(hours=22)
        usual = {
            "speed_rpm": 1480.0, "load": 75.0, "ambient_degc": 20.0, "fault": "", "cell": 0, "n": 24, "n_total": 24,
            "spread": 0.1, "coverage": 1.0, "running_h": 24.0,
        } | columns  # fmt: skip
        made = pd.DataFrame({
            "point_id": np.repeat(self.points["point_id"].to_numpy(), self.days), "date": np.tile(dates, count),
            "known_at": np.tile(last + pd.Timedelta(hours=6), count), "last_time": np.tile(last, count),
            "median": self.level.ravel(), "last_value": self.level.ravel(),
            **{k: np.broadcast_to(v, self.level.shape).ravel() for k, v in usual.items()},
        })  # fmt: skip
        return made[made["median"].notna()].reindex(columns=arrow_schema("summaries").names)

    def night(self, day):
        return FIRST + timedelta(days=day)

    def learn(self, day=None, known=None, summaries=None, events=None):
        day = self.days - 1 if day is None else day
        seen = self.summaries if summaries is None else summaries
        return advance(
            seen, table("expected") if known is None else known, self.events if events is None else events, self.points,
            self.bearings, as_of(self.night(day), ZONE), ZONE, self.policy,
        )  # fmt: skip

    def frozen(self, **given):
        made = self.learn(**given)
        return made[made["reference_state"] == "frozen"].reset_index(drop=True)

    def compare(self, first=0, last=None, expected=None):
        last = self.days - 1 if last is None else last
        expected = self.learn() if expected is None else expected
        return deviations(
            self.summaries, expected, self.events, self.points, self.bearings,
            nights_between(self.night(first), self.night(last)), ZONE, self.policy,
        )  # fmt: skip

    def one(self, day, point=0):
        rows = self.compare(day, day)
        return rows[rows["point_id"] == f"P{point:02d}"].iloc[0]


def at(day, hour=10):
    return datetime(FIRST.year, FIRST.month, FIRST.day, hour, tzinfo=UTC) + timedelta(days=day)


@pytest.fixture(scope="session")
def policy():
    return parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")


@pytest.fixture(scope="session")
def sim(policy):
    """The simulator: ``plant(level, quantity, ...)``, ``noise(shape, sd)``, ``at(day)``."""

    def noise(shape, sd=0.4, seed=1):
        return np.random.default_rng(seed).normal(0, sd, shape)

    return SimpleNamespace(plant=lambda *a, **k: Plant(*a, policy=policy, **k), noise=noise, at=at, table=table)
