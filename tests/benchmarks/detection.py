"""Speed of the detection kernels and of the whole compare step; not a test.

    python tests/benchmarks/detection.py [series] [days]

Prints seconds for robust fits, charts and slopes of many series by the project's kernels, the same for a small part of
them by a plain statsmodels and pandas loop (scaled up), and for ``advance`` and ``deviations`` on as many points.
"""

import sys
import time
from datetime import date, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pymannkendall
import statsmodels.api as sm
from scipy.stats import theilslopes

from condlube.detection import charts
from condlube.detection.deviations import deviations
from condlube.detection.references import advance
from condlube.detection.slope import weekly_slopes
from condlube.manipulation.robust import HUBER, HUBER_TUNING, irls
from condlube.policy.parse import parse_policy
from condlube.schema.arrow import arrow_schema, rows_to_table
from condlube.schema.nights import as_of

ZONE = ZoneInfo("Europe/Lisbon")
FIRST = date(2024, 1, 1)
LOOP = 60


def timed(label, function):
    begin = time.perf_counter()
    made = function()
    took = time.perf_counter() - begin
    print(f"{label:58s}{took:9.2f} s")
    return made, took


def kernels(series, days):
    """Fits (level, speed, load, ambient), both charts and slopes of weekly medians; returns seconds."""
    random = np.random.default_rng(1)
    x = np.concatenate([np.ones((series * days, 1)), random.normal(size=(series * days, 3))], axis=1)
    y = x @ np.array([30.0, 3.0, 1.0, 0.5]) + random.standard_t(4, size=series * days)
    start = np.arange(series + 1, dtype=np.int64) * days
    lo, hi = start[:-1], start[1:]
    day = np.tile(np.arange(days), series)
    one = np.ones(series)
    limit, h = charts.limits(0.2, 0.5, 1000.0)

    def fits(count):
        """Huber fits of the first series, from a flat line at 0."""
        beta, none, size = np.zeros((count, 4)), np.zeros((count, 4)), np.full(count, 4)
        scale, _ = irls(start[: count + 1], x, y, np.ones(len(y)), size, none, none, np.zeros(count), beta,
                        np.empty(len(y)), HUBER, HUBER_TUNING, 1e-8, 50)  # fmt: skip
        return beta, scale

    fits(2)
    print(f"{series} series x {days} days, kernels compiled")
    (beta, scale), took = timed("robust fits", lambda: fits(series))
    residual = y - (x * np.repeat(beta, days, axis=0)).sum(axis=1)
    _, chart = timed("EWMA and CUSUM", lambda: charts.signals(
        lo, hi, residual, scale, 0 * one, 0.3 * one, 0.2, limit, 0.5, h))  # fmt: skip
    _, slope = timed("slopes of weekly medians", lambda: weekly_slopes(lo, hi, day, residual, 4))

    def loop():
        for k in range(LOOP):
            rows = slice(start[k], start[k + 1])
            fit = sm.RLM(y[rows], x[rows]).fit()
            assert np.allclose(fit.params, beta[k], atol=1e-5)
            night = pd.Series(fit.resid / fit.scale)
            night.ewm(alpha=0.2, adjust=False).mean()
            level = 0.0
            for value in night:
                level = max(0.0, level + value - 0.5)
            weekly = night.groupby((days - 1 - np.arange(days)) // 7).median()
            theilslopes(weekly, weekly.index)
            pymannkendall.hamed_rao_modification_test(weekly)

    _, plain = timed(f"plain loop, {LOOP} series", loop)
    print(f"{'together, and times faster than the plain loop':58s}{took + chart + slope:9.2f} s"
          f"{plain / LOOP * series / (took + chart + slope):9.0f} x")  # fmt: skip


def compare(series, days):
    """References learned over the whole history in one call, then one night's deviations."""
    policy = parse_policy(files("condlube.policy").joinpath("default.toml").read_text("utf-8"), "default.toml")
    random = np.random.default_rng(2)
    names = np.array([f"P{k:06d}" for k in range(series)])
    points = rows_to_table("points", [
        {"point_id": n, "bearing_id": f"B{k // 3:05d}", "quantity": ("ultrasound", "velocity", "temperature")[k % 3],
         "sampling": "continuous", "collector": f"C{k // 300}"} for k, n in enumerate(names)
    ]).to_pandas()  # fmt: skip
    bearings = rows_to_table("bearings", [
        {"bearing_id": f"B{k:05d}", "machine_id": f"M{k // 2}", "bearing_type": "deep_groove_ball", "speed_rpm": 1480.0}
        for k in range(-(-series // 3))
    ]).to_pandas()  # fmt: skip
    events = rows_to_table("events", []).to_pandas()
    expected = rows_to_table("expected", []).to_pandas()
    dates = pd.date_range(FIRST, periods=days)
    last = dates.tz_localize("UTC") + pd.Timedelta(hours=22)
    size = series * days
    ambient = np.tile(15 + random.normal(0, 3, days), series)
    level = np.repeat(np.array([30.0, 2.0, 40.0])[np.arange(series) % 3], days)
    summaries = pd.DataFrame({
        "point_id": np.repeat(names, days), "date": np.tile(dates, series), "cell": 0, "n": 24, "n_total": 24,
        "known_at": np.tile(last + pd.Timedelta(hours=6), series), "last_time": np.tile(last, series),
        "median": level * np.exp(random.normal(0, 0.02, size)), "spread": 0.1, "fault": "", "coverage": 1.0,
        "speed_rpm": 1480 + random.normal(0, 10, size), "load": 75 + random.normal(0, 8, size),
        "ambient_degc": ambient, "ambient_lagged_degc": ambient,
    }).reindex(columns=arrow_schema("summaries").names)  # fmt: skip
    night = FIRST + timedelta(days=days - 1)
    end = as_of(night, ZONE)
    tables = (events, points, bearings)
    small = summaries[summaries["point_id"] < names[3]]
    learned = advance(small, expected, *tables, end, ZONE, policy)
    deviations(small, learned, *tables, [night], ZONE, policy)
    learned, _ = timed("advance: every reference of the history", lambda: advance(
        summaries, expected, *tables, end, ZONE, policy))  # fmt: skip
    timed("deviations: one night", lambda: deviations(summaries, learned, *tables, [night], ZONE, policy))
    timed("advance: one more night", lambda: advance(summaries, learned, *tables, end, ZONE, policy))


if __name__ == "__main__":
    wanted = [int(a) for a in sys.argv[1:3]]
    count, length = [*wanted, *(30_000, 180)[len(wanted) :]]
    kernels(count, length)
    compare(count, length)
