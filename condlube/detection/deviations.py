"""How each measuring point departs from its expected level on a night: one row per point and night, always."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from condlube.detection.begins import EPOCH, Begin, begins_of
from condlube.detection.beside import heard_beside
from condlube.detection.cycles import MANY
from condlube.detection.figures import figures_of
from condlube.detection.frozen import EXTENDED, Frozen, frozen_of, margins_of
from condlube.detection.jumps import jumping
from condlube.detection.lasting import lasting_of
from condlube.detection.levels import COMPARED, UNCERTAIN
from condlube.detection.marks import faulty_share
from condlube.detection.regime import regime_changed
from condlube.detection.route import second_reading
from condlube.detection.series import Cells, cells_of, of_quantity
from condlube.detection.silence import silence
from condlube.detection.states import states_of, within
from condlube.detection.tracks import Tracks, tracks_of
from condlube.manipulation.expected import OUTSIDE, UNKNOWN, deviation_of, from_scale
from condlube.manipulation.kernel import Ints
from condlube.policy.model import Policy
from condlube.schema.arrow import arrow_schema
from condlube.schema.nights import midnight
from condlube.schema.words import (
    FAINT,
    HEARD_BESIDE,
    ONSETS,
    OPERATING_CHANGED,
    REFERENCE_UNSETTLED,
    RESPONSES,
    SIGNALS,
    STATE_UNCLEAR,
)
from condlube.units import CANONICAL

_SETTLED_DAYS = 21  # a level that kept so long from the begin of its reference to its rise has settled
MARKS = ("lately", "before_greasing", "at_inspection")
"""Columns that are deviations of other nights than tonight."""
_REFUSED = {OUTSIDE: "out_of_range", UNKNOWN: "operating_unknown", UNCERTAIN: "expected_uncertain"}


def deviations(
    summaries: pd.DataFrame, expected: pd.DataFrame, events: pd.DataFrame, points: pd.DataFrame,
    bearings: pd.DataFrame, nights: Sequence[date], zone: ZoneInfo, policy: Policy, cells: Cells | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Table ``deviations``: a row for every signal point that is valid on a night, for each of ``nights``.

    Parameters
    ----------
    summaries
        Table ``summaries`` from ``window_days`` before the first night on; more does not change the result.
    expected
        Table ``expected``; frozen rows are used from the night on which they were frozen, notes from the night after.
    events, points, bearings
        Tables of the schema; only events that are visible.
    nights
        The nights wanted, ascending.
    cells
        ``cells_of`` the summaries up to the last night, where the caller has them.

    Returns
    -------
    One row per point and night. ``status`` tells what could be said; figures stand only where a level was compared.
    Names and words that repeat are categories.
    """
    if not len(nights):
        return pd.DataFrame(columns=arrow_schema("deviations").names)
    if cells is None:
        cells = cells_of(summaries, points, bearings, nights[-1].toordinal() - EPOCH, policy)
    begins = begins_of(cells.points, events, policy.reference.settling_days, zone)
    inspections = begins_of(cells.points, events, 0, zone, ("inspection",))
    found = compared(cells, expected, begins, inspections, nights, zone, policy)
    return concluded(found, found.rows, expected, begins, zone, policy)


class Compared(NamedTuple):
    """What each point's own nights tell: ``rows``, and what they were made from."""

    rows: pd.DataFrame
    cells: Cells
    frozen: Frozen
    tracks: Tracks


def compared(
    cells: Cells, expected: pd.DataFrame, begins: list[list[Begin]], inspections: list[list[Begin]],
    nights: Sequence[date], zone: ZoneInfo, policy: Policy,
) -> Compared:  # fmt: skip
    """Compare ``cells`` up to the last night with the references in ``expected``; its notes play no part yet."""
    days = np.array([night.toordinal() - EPOCH for night in nights], dtype=np.int64)
    frozen = frozen_of(expected, cells.points["point_id"].to_list(), zone)
    margins = margins_of(cells.points["quantity"].to_list(), policy)
    tracks = tracks_of(cells, frozen, begins, margins, int(days[0]), int(days[-1]), policy)
    rows = states_of(cells, days, policy)
    window = policy.detection.window_days
    rows["faulty_share"] = faulty_share(cells, rows["point"].to_numpy(), rows["day"].to_numpy(), window)
    rows = _compared(rows, tracks)
    figures = figures_of(
        rows[rows["status"] == "assessed"], cells.points, tracks, frozen.models, begins, inspections, policy
    )
    _fall_silent(rows, figures["residual"], cells, policy)
    rows = rows.join(figures[(rows["status"] == "assessed")[figures.index]])
    rows.loc[jumping(rows, cells.points, tracks, policy), ["status", "reason"]] = ["faulty", "erratic"]
    _ask_again(rows, cells, tracks, policy)
    return Compared(rows, cells, frozen, tracks)


def concluded(
    found: Compared, rows: pd.DataFrame, expected: pd.DataFrame, begins: list[list[Begin]], zone: ZoneInfo,
    policy: Policy,
) -> pd.DataFrame:  # fmt: skip
    """Table ``deviations`` of some nights' ``rows``, with the notes in ``expected`` and what neighbours say."""
    cells, frozen, tracks = found.cells, found.frozen, found.tracks
    lasting = lasting_of(expected, cells.points["point_id"].to_list(), zone)
    rows = rows.assign(**lasting.remembered(rows, begins))
    told = (frozen.models.high[:, :2] > frozen.models.low[:, :2]).any(axis=1)  # without a tag: the register's speed
    untold = ~np.append(told, False)[rows["reference"]]
    changed = regime_changed(rows, untold, cells.points, tracks, lasting, policy.detection)
    rows.loc[changed, ["status", "reason"]] = ["not_testable", OPERATING_CHANGED]
    heard = heard_beside(rows, changed, cells.points, tracks, policy.detection)
    rows.loc[heard, ["status", "reason"]] = ["not_testable", HEARD_BESIDE]
    _say_why(rows, cells, frozen, policy)
    return _in_units(rows, cells, zone).reindex(columns=arrow_schema("deviations").names)


def _compared(rows: pd.DataFrame, tracks: Tracks) -> pd.DataFrame:
    """Rows with their track and the row of their newest day on it; a sound level that has none is not testable."""
    point, night, newest = (rows[c].to_numpy() for c in ("point", "day", "newest"))
    track = within(tracks.point, tracks.serves, point, night)
    track = np.where((track >= 0) & (night <= np.append(tracks.until, -1)[track]), track, -1)
    row = _row_of(tracks, track, newest)
    code = np.append(tracks.code, -1)[row]
    while True:  # where an extended reference does not reach, the one that it extends serves
        before = np.where(code == OUTSIDE, track - 1, -1)
        held = (np.append(tracks.point, -1)[before] == point) & (night <= np.append(tracks.until, -1)[before])
        if not held.any():
            break
        track = np.where(held, before, track)
        row = np.where(held, _row_of(tracks, track, newest), row)
        code = np.where(held, np.append(tracks.code, -1)[row], code)
    refused = (rows["status"] == "assessed").to_numpy() & (code != COMPARED)
    reason = np.full(len(code), "collecting", dtype=object)
    for refusal, word in _REFUSED.items():
        reason[code == refusal] = word
    return rows.assign(
        track=track,
        row=row,
        reference=np.append(tracks.reference, -1)[track],
        status=rows["status"].mask(refused, "not_testable"),
        reason=rows["reason"].mask(refused, pd.Series(reason, rows.index, dtype=object)),
    )


def _row_of(tracks: Tracks, track: Ints, newest: Ints) -> Ints:
    """Row of each track's night on exactly the newest day; -1 without one."""
    row = within(tracks.track, tracks.day, track, newest)
    return np.where((row >= 0) & (np.append(tracks.day, -1)[row] == newest), row, -1)


def _fall_silent(rows: pd.DataFrame, residual: pd.Series, cells: Cells, policy: Policy) -> None:
    """A machine that went silent and cold stands; a sensor that went silent on a machine that runs is dead."""
    stands, dead, faint = silence(rows.assign(residual=residual), cells, policy)
    rows.loc[faint, ["status", "reason"]] = ["not_testable", FAINT]
    rows.loc[stands, ["status", "reason"]] = ["not_testable", "stopped"]
    rows.loc[dead, ["status", "reason"]] = ["faulty", "no_signal"]


def _ask_again(rows: pd.DataFrame, cells: Cells, tracks: Tracks, policy: Policy) -> None:
    """A raised route reading that no second one confirms is not testable yet; its figures stay."""
    point, track, row, night = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "track", "row", "day"))
    spread = rows["reference_spread"].to_numpy(dtype=float)
    quantity = cells.points["quantity"].to_list()
    assessed = (rows["status"] == "assessed").to_numpy()
    for k in np.flatnonzero(cells.points["route"].to_numpy()[point] & assessed):
        readings = slice(tracks.start[track[k]], row[k] + 1)
        sound = ~tracks.masked[readings]
        asks = second_reading(
            tracks.residual[readings][sound], tracks.day[readings][sound], int(night[k]),
            policy.detection.raised_spreads * spread[k], policy.detection.large.of(quantity[point[k]]),
            policy.detection.route_second_days, policy.detection.stale_route_days,
        )  # fmt: skip
        if asks:
            rows.loc[rows.index[k], ["status", "reason"]] = ["not_testable", asks]


def _say_why(rows: pd.DataFrame, cells: Cells, frozen: Frozen, policy: Policy) -> None:
    """Reason codes of assessed rows: a reference that parent or family brought down, and a level that fell away."""
    reference = rows["reference"].to_numpy()
    assessed = (rows["status"] == "assessed").to_numpy()
    taken_off = np.append(frozen.rows["taken_off"].fillna(0).to_numpy(dtype=float), 0.0)
    lowered = (taken_off > 0.5 * np.append(frozen.models.spread, 1.0))[reference]
    fall = of_quantity(policy.detection.fall, cells.points)[rows["point"].to_numpy()]
    down, sd = -rows["residual"].to_numpy(dtype=float), rows["sd"].to_numpy(dtype=float)
    fallen = (down >= fall - sd) & (down >= policy.detection.raised_spreads * sd)
    began = np.append(frozen.rows["began"].to_numpy(dtype=object), "")[reference]
    stood = rows["onset_day"].to_numpy(dtype=float) - np.append(frozen.first, 0)[reference]
    unsettled = ((began == "first") & ~(stood >= _SETTLED_DAYS)) | ((began == "completed") & lowered)
    extended = np.append(frozen.rows["began"].to_numpy(dtype=object) == EXTENDED, False)[reference]
    rows.loc[assessed & extended, "reason"] = "reference_extended"
    rows.loc[assessed & lowered, "reason"] = "reference_lowered"
    rows.loc[assessed & unsettled & (-down >= policy.detection.raised_spreads * sd), "reason"] = REFERENCE_UNSETTLED
    rows.loc[assessed & (rows["cycles"] >= MANY).to_numpy(), "reason"] = "short_cycles"
    rows.loc[assessed & fallen, "reason"] = STATE_UNCLEAR
    begun = pd.to_datetime(frozen.rows["reference_from"], utc=True)
    rows["reference_from"] = begun.reindex(reference).array


def _in_units(rows: pd.DataFrame, cells: Cells, zone: ZoneInfo) -> pd.DataFrame:
    """Rows in the units and words of the table."""
    point = rows["point"].to_numpy()
    names = {c: cells.points[c].astype("category").array[point] for c in ("point_id", "bearing_id", "quantity")}
    quantity = cells.points["quantity"].to_numpy(dtype=object)[point]
    level, residual, sd = (rows[c].to_numpy(dtype=float) for c in ("expected_level", "residual", "sd"))
    slopes = {c: rows[c].to_numpy(dtype=float).copy() for c in ("slope", "slope_low", "slope_high")}
    marks = {c: rows[c].to_numpy(dtype=float).copy() for c in MARKS}
    observed, expected, deviation, deviation_sd = np.full((4, len(rows)), np.nan)
    for name in SIGNALS:
        of = np.flatnonzero(quantity == name)
        observed[of] = from_scale(name, level[of] + residual[of])
        expected[of] = from_scale(name, level[of])
        deviation[of] = deviation_of(name, residual[of])
        ratio = deviation_of(name, np.zeros(1))[0] == 1.0
        deviation_sd[of] = sd[of] * deviation[of] if ratio else sd[of]
        for mark in marks.values():
            mark[of] = deviation_of(name, mark[of])
        if ratio:
            for slope in slopes.values():
                slope[of] = np.expm1(slope[of])
    return rows.assign(
        **names,
        night=_dates(rows["day"]),
        unit=cells.points["quantity"].map(CANONICAL).astype("category").array[point],
        observed=observed,
        expected=expected,
        deviation=deviation,
        deviation_sd=deviation_sd,
        onset=_words(rows["onset_code"], ONSETS),
        onset_date=_dates(rows["onset_day"]),
        response=_words(rows["response_code"], RESPONSES),
        chart=rows["chart"].astype("boolean"),
        nights_over=rows["nights_over"].astype("Int64"),
        window_from=_midnights(rows["newest"] - rows["averaged"].fillna(1).astype(int) + 1, zone),
        **slopes,
        **marks,
    )


def _words(codes: pd.Series, words: tuple[str, ...]) -> pd.Categorical:
    return pd.Categorical.from_codes(codes.fillna(-1).to_numpy(dtype=np.int64), list(words))


def _dates(days: pd.Series) -> Any:
    """Dates of days since 1970-01-01; NaT where they are negative or not known."""
    whole = days.fillna(-1).to_numpy(dtype=np.int64)
    return np.where(whole >= 0, whole.astype("datetime64[D]"), np.datetime64("NaT")).astype("datetime64[us]")


def _midnights(days: pd.Series, zone: ZoneInfo) -> Any:
    """The instants that begin days; NaT where these are negative."""
    known, which = np.unique(days.to_numpy(dtype=np.int64), return_inverse=True)
    begins = [pd.Timestamp(midnight(date.fromordinal(d + EPOCH), zone)) if d >= 0 else pd.NaT for d in known.tolist()]
    return pd.to_datetime(begins, utc=True)[which]
