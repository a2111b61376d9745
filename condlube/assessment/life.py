"""Share of the relubrication interval used up: x, the integral of running time over the interval at its conditions."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd

from condlube.assessment.clock import Clock, clock
from condlube.assessment.greasings import HOUR, Greasings, TimeArray, greasings
from condlube.assessment.greasings import times as times_of
from condlube.assessment.interval import METHODS, intervals
from condlube.assessment.nights import Nights, distinct, one_night
from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.factors import vibration_factor
from condlube.lubrication.result import Outside
from condlube.policy.model import Policy
from condlube.register.model import Site

HOURS_PER_MONTH = 365.25 * 24 / 12
OUTSIDE_SHARE = 0.01
"""An interval still holds where no more than this share of the running hours lay outside its method's range."""


def life(
    bearings: pd.DataFrame,
    greases: pd.DataFrame,
    points: pd.DataFrame,
    usage: pd.DataFrame,
    events: pd.DataFrame,
    deviations: pd.DataFrame,
    site: Site,
    policy: Policy,
    as_of: datetime,
) -> pd.DataFrame:
    """Grease life used up by each bearing.

    Parameters
    ----------
    bearings, greases, points
        Register tables, defaults filled in.
    usage
        Summaries since the last full greasing: point_id, date, cell, running_h, speed_rpm, octiles.
    events
        Events that the night may see.
    deviations
        Of the night; they give the usual velocity and the response to the last greasing.
    as_of
        End of the night.

    Returns
    -------
    DataFrame
        One row per bearing, in the order of ``bearings``:

        x, rate_per_d
            Share of the interval used up, and how much of it a day to come uses up. NaN where no interval holds, or
            nothing tells where to count from.
        x_since, running_h, days, last_greased, origin
            Share, running hours and days since grease was last put in (or the count began), when that was, and what
            says so: greasing, replacement, register, assumed, unknown.
        interval_h, interval_method, interval_reason
            Interval at the conditions since then; the reason why there is none.
        x_calendar, calendar_rate_per_d
            Share of the calendar cap used up, and by a day; x is at least that.
        dose_g, dose_ratio, last_grease
            Calculated dose, last dose over it (NaN where not recorded), and the grease that was put in.
    """
    nights = one_night(bearings.reset_index(drop=True), events, as_of, site.zone)
    return life_nights(nights, greases, points, usage, deviations, site, policy).set_index(bearings.index)


def life_nights(
    nights: Nights,
    greases: pd.DataFrame,
    points: pd.DataFrame,
    usage: pd.DataFrame,
    deviations: pd.DataFrame,
    site: Site,
    policy: Policy,
) -> pd.DataFrame:
    """The same of every bearing-night; ``usage`` is what the last night sees, ``deviations`` are those of all nights.

    Greasings are read once for every spell and response, and the days are aged once for every bearing, grease limit
    and vibration that they are aged with.
    """
    bearings, now = nights.bearings, nights.end
    read, greased_as = _answered(nights, deviations)
    greased = greasings(bearings.iloc[read].reset_index(drop=True), *_told(nights, read, deviations), site)
    highest = grease_limits(bearings.iloc[read], greases, greased.last_grease)[greased_as]
    velocity = _usual_velocity(nights, deviations)
    aged, who = distinct(bearings["bearing_id"], highest, vibration_factor(np.nan_to_num(velocity)))
    alike = bearings.iloc[aged].reset_index(drop=True)
    table = intervals(alike, velocity[aged], highest[aged], policy)
    exposed = alike["outdoors"].astype(bool) | (alike["moisture"] != "dry")
    standing_months = np.where(exposed, policy.life.standing_exposed_months, policy.life.standing_dry_months)
    times = clock(alike, points, usage, table, 1.0 / (standing_months * HOURS_PER_MONTH), site.zone)

    start, last = greased.start[greased_as], greased.last[greased_as]
    x, ran_h, outside_h = _walk(times, who, greased, greased_as, now)
    since = np.where(np.isnat(last), start, np.fmax(last, start))
    fresh = times.between(who, since, now)
    recent = times.between(who, np.fmax(since, now - np.timedelta64(24 * policy.life.rate_days, "h")), now)

    base = table.at_reference(np.arange(len(alike)), np.full(len(alike), np.nan))
    outside = base.outside[who]
    too_often = outside_h > OUTSIDE_SHARE * np.maximum(ran_h, 1.0)
    unknown = np.isnat(start)
    none = outside | too_often | unknown
    limit_rate = _calendar_rate(alike, policy)[who]
    by_calendar = (now - start) / HOUR / 24 * limit_rate
    share = alike["running_share"].to_numpy(dtype=np.float64)
    register_per_d = 24 * (share * times.register_rate_per_h + (1 - share) * times.standing_rate_per_h)
    with np.errstate(divide="ignore", invalid="ignore"):
        interval = np.where(
            fresh.x_running > 0, fresh.running_h / fresh.x_running, (1.0 / times.register_rate_per_h)[who]
        )
        measured = 24 * (recent.x_running + recent.x_standing) / recent.hours
    rate = np.where(recent.hours >= 24, measured, register_per_d[who])
    reason = np.array([Outside(int(code)).name.lower() if code else "" for code in base.reason], dtype=object)[who]
    reason[too_often & ~outside] = "conditions_outside_range"
    reason[unknown & ~outside] = "no_start"
    return pd.DataFrame(
        {
            "bearing_id": bearings["bearing_id"].to_numpy(dtype=object),
            "x": np.where(none, np.nan, np.maximum(x, by_calendar)),
            "rate_per_d": np.where(none, np.nan, rate),
            "x_calendar": np.where(none, np.nan, by_calendar),
            "calendar_rate_per_d": limit_rate,
            "x_since": np.where(none, np.nan, fresh.x_running + fresh.x_standing),
            "running_h": fresh.running_h,
            "days": fresh.hours / 24,
            "last_greased": pd.DatetimeIndex(since).tz_localize("UTC"),
            "origin": np.where(since > start, "greasing", greased.origin[greased_as]),
            "interval_h": np.where(outside | too_often, np.nan, interval),
            "interval_method": np.array(METHODS, dtype=object)[table.method][who],
            "interval_reason": reason,
            "dose_g": greased.dose_g[greased_as],
            "dose_ratio": greased.dose_ratio[greased_as],
            "last_grease": greased.last_grease[greased_as],
        }
    )


def _answered(nights: Nights, deviations: pd.DataFrame) -> tuple[IntArray, IntArray]:
    """A row of every spell and greasing without response in it, and which of these every row is like."""
    none = _without_response(nights, deviations)
    last = np.full(len(nights.end), np.datetime64("NaT", "us"))
    last[none["which"]] = none["when"].to_numpy()
    return distinct(nights.spell, last)


def _without_response(nights: Nights, deviations: pd.DataFrame) -> pd.DataFrame:
    """Rows ``which`` on which a greasing, of the time ``when``, is found to have had no effect."""
    found = deviations.loc[deviations["response"] == "none", ["bearing_id", "night", "response_to"]]
    found = found[found["response_to"].notna()]
    which = nights.find(found["bearing_id"], found["night"])
    return pd.DataFrame({"which": which, "when": times_of(found["response_to"])})[which >= 0]


def _told(nights: Nights, read: IntArray, deviations: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Events, and greasings without response, by the position of the rows ``read`` that see them."""
    spell = pd.DataFrame({"which": nights.spell[read], "reader": np.arange(len(read))})
    told = nights.told.merge(spell, on="which").assign(which=lambda rows: rows["reader"])
    none = _without_response(nights, deviations)
    reader = np.full(len(nights.end), -1)
    reader[read] = np.arange(len(read))
    none["which"] = reader[none["which"]]
    return told, none[none["which"] >= 0]


def grease_limits(bearings: pd.DataFrame, greases: pd.DataFrame, last_grease: np.ndarray) -> FloatArray:
    """Upper end of the service range (degC) of the grease in each bearing; NaN where it is not known."""
    highest = greases.set_index("grease_id")["temperature_max_degc"].astype(np.float64)
    return np.asarray(grease_in(bearings, last_grease).map(highest).to_numpy(dtype=np.float64, na_value=np.nan))


def grease_in(bearings: pd.DataFrame, last_grease: np.ndarray) -> pd.Series:
    """Grease in each bearing: the last that was recorded as put in, else the register's."""
    recorded = pd.Series(last_grease, index=bearings.index, dtype=object)
    return recorded.where(recorded.notna(), bearings["grease_in_service"].astype(object))


def _walk(
    times: Clock, who: IntArray, greased: Greasings, as_: IntArray, now: TimeArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """x through every greasing since the start that left some of it; running hours, and those outside the range."""
    x, running_h, outside_h = (np.zeros(len(now)) for _ in range(3))
    begin = greased.start[as_]
    partial = ((time[as_], left[as_]) for time, left in greased.partial)
    for time, left in (*partial, (now, np.ones(len(now)))):
        end = np.where(np.isnat(time), begin, time)
        span = times.between(who, begin, end)
        x = (x + span.x_running + span.x_standing) * left
        running_h, outside_h = running_h + span.running_h, outside_h + span.outside_h
        begin = end
    return x, running_h, outside_h


def _usual_velocity(nights: Nights, deviations: pd.DataFrame) -> FloatArray:
    """Highest expected velocity (mm/s rms) of the points of each bearing: what is usual there, not tonight's."""
    rows = deviations[deviations["quantity"] == "velocity"]
    highest = np.full(len(nights.end), np.nan)
    which = nights.find(rows["bearing_id"], rows["night"])
    expected = rows["expected"].to_numpy(dtype=np.float64, na_value=np.nan)
    np.fmax.at(highest, which[which >= 0], expected[which >= 0])
    return highest


def _calendar_rate(bearings: pd.DataFrame, policy: Policy) -> FloatArray:
    """Share of the calendar cap that a day uses up: the policy's longest time, or the manual's calendar interval."""
    manual = bearings["manual_interval_h"].to_numpy(dtype=np.float64, na_value=np.nan)
    by_calendar = bearings["manual_interval_basis"].to_numpy(dtype=object) == "calendar"
    cap_h = policy.life.cap_months * HOURS_PER_MONTH
    return np.asarray(24 / np.where(by_calendar & (manual > 0), np.minimum(manual, cap_h), cap_h))
