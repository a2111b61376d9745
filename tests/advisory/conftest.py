"""Scenes: one bearing-night built from a few words, decided through the real functions."""

from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from condlube.advisory.decide import decide
from condlube.policy.parse import parse_policy
from condlube.register.model import Site, Text
from condlube.register.parse import parse_register
from condlube.schema.arrow import rows_to_table

ZONE = ZoneInfo("UTC")
NIGHT = date(2025, 6, 1)
AS_OF = datetime(2025, 6, 2, tzinfo=UTC)
GREASES = """grease_id,thickener,base_oil,viscosity_40_mm2_s,viscosity_100_mm2_s,nlgi,temperature_min_degc,\
temperature_max_degc,extreme_pressure
alpha,lithium_complex,mineral,110,11.5,2,-30,140,yes
beta,polyurea,mineral,110,11.5,2,-30,150,no
thin,lithium_complex,mineral,15,3.4,2,-40,120,no
plain,lithium,mineral,110,11.5,2,-25,120,no
shear,polyurea_shear_stable,mineral,110,11.5,2,-30,160,no
glycol,lithium_complex,pag,150,20,2,-30,150,no
sulfonate,calcium_sulfonate_complex,mineral,180,15,2,-25,150,yes
"""
UNITS = {"ultrasound": "dB", "acceleration": "g rms", "kurtosis": "1", "crest_factor": "1", "velocity": "mm/s rms",
         "temperature": "degC"}  # fmt: skip
EXPECTED = {"ultrasound": 20.0, "acceleration": 0.4, "kurtosis": 3.0, "crest_factor": 3.2, "velocity": 1.5,
            "temperature": 55.0}  # fmt: skip
BEARING = {"designation": "6313", "speed_rpm": 1480, "grease_assigned": "alpha", "commissioned": "2020-01-01"}


def empty(table):
    return rows_to_table(table, []).to_pandas()


def deviation(quantity, value, status="assessed", point=None, **columns):
    """A row of tonight's deviations at a usual level; a number is the deviation."""
    expected = EXPECTED[quantity]
    in_db = expected * 10 ** (value / 20)
    over = {"ultrasound": expected + value, "temperature": expected + value, "acceleration": in_db}
    row = {
        "point_id": point or f"P.{quantity}", "bearing_id": "B", "quantity": quantity, "night": NIGHT, "status": status,
        "reason": "", "unit": UNITS[quantity], "deviation": value, "observed": over.get(quantity, expected * value),
        "expected": expected, "deviation_sd": 0.5 if quantity in over else 0.05 * value, "reference_spread": 1.0,
        "growth": 0.0, "onset": "none", "share": 0.0, "response": "unknown",
        "level_now": over.get(quantity, expected * value), "level_time": AS_OF - timedelta(hours=1), "sound_nights": 3,
        "nights_over": 3, "coverage": 1.0, "window_from": AS_OF - timedelta(days=1), "window_to": AS_OF,
    }  # fmt: skip
    if status != "assessed":
        row |= {"deviation": None, "observed": None, "expected": None, "level_now": None}
    return row | columns


def rows_of(evidence):
    """Deviation rows of a scene's evidence. ``ultrasound = 9.0``; a trait goes with the loudest vibration signal."""
    evidence = dict(evidence)
    columns = {"onset": "onset", "growth": "growth", "collector_share": "share", "response": "response"}
    traits = {column: evidence.pop(name) for name, column in columns.items() if name in evidence}
    rows = [
        deviation(quantity, **value) if isinstance(value, dict) else deviation(quantity, value)
        for quantity, value in evidence.items()
    ]
    order = ("ultrasound", "acceleration", "velocity", "temperature")
    carriers = [row for quantity in order for row in rows if row["quantity"] == quantity]
    if carriers:
        carriers[0] |= traits
    return rows


@pytest.fixture(scope="session")
def default_text():
    return files("condlube.policy").joinpath("default.toml").read_text("utf-8")


@pytest.fixture(scope="session")
def policy(default_text):
    return parse_policy(default_text, "default.toml")


@pytest.fixture(scope="session")
def register_of():
    """Bearings, greases and points as DataFrames, defaults filled in."""

    def made(*bearings):
        names = sorted({"bearing_id"}.union(*bearings))
        lines = [",".join(names)]
        lines += [",".join(str(bearing.get(name, "")) for name in names) for bearing in bearings]
        site = Site("plant", ZONE, None)
        register = parse_register(Text("bearings.csv", "\n".join(lines)), Text("greases.csv", GREASES), None, site)
        return register.bearings.to_pandas(), register.greases.to_pandas(), register.points.to_pandas()

    return made


def life_of(bearings, x, days, dose_ratio=None, origin="greasing", grease=None, interval_reason=""):
    """Life of continuously running bearings, as ``assessment.life.life`` would tell it."""
    n = len(bearings)
    hours = days * 24
    x = float("nan") if interval_reason else x
    return pd.DataFrame(
        {
            "bearing_id": bearings["bearing_id"], "x": x, "rate_per_d": x / days, "x_calendar": days / 1461,
            "calendar_rate_per_d": 1 / 1461, "x_since": x, "running_h": hours, "days": days,
            "last_greased": pd.Timestamp(AS_OF) - pd.to_timedelta(days, unit="D"), "origin": origin,
            "interval_h": hours / x, "interval_method": "trade_formula", "interval_reason": interval_reason,
            "dose_g": 23.1,
            "dose_ratio": float("nan") if dose_ratio is None else dose_ratio, "last_grease": grease,
        },
        index=range(n),
    )  # fmt: skip


@pytest.fixture
def scene(policy, register_of):
    """Decide one bearing-night: the row of its decision and the rows of its evidence."""

    def made(x=0.5, days=100.0, bearing=None, events=(), reviews=(), rules=None, life=None, rows=(), **evidence):
        bearings, greases, _ = register_of({"bearing_id": "B", **BEARING, **(bearing or {})})
        own = {"bearing_id": "B", "known_at": AS_OF}
        happened = [{"event_id": str(k), **own, **event} for k, event in enumerate(events)]
        told = [*rows_of(evidence), *(deviation(**row) for row in rows)]
        said = [{"review_id": str(k), **own, **review} for k, review in enumerate(reviews)]
        decided = decide(
            bearings, greases, rows_to_table("events", happened).to_pandas(),
            life_of(bearings, x, days, **(life or {})), rows_to_table("deviations", told).to_pandas(),
            rows_to_table("reviews", said).to_pandas(), Site("plant", ZONE, None), rules or policy, AS_OF,
        )  # fmt: skip
        return decided.decisions.iloc[0], decided.evidence

    return made
