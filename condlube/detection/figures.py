"""The figures of every compared level: deviation, growth, onset, charts, slope, common shift and response."""

from __future__ import annotations

import numpy as np
import pandas as pd

from condlube.detection import charts
from condlube.detection.begins import Begin
from condlube.detection.common_mode import shares
from condlube.detection.cycles import MANY, returns
from condlube.detection.growth import growth
from condlube.detection.levels import COMPARED
from condlube.detection.marks import marks
from condlube.detection.onset import onset
from condlube.detection.persistence import nights_over
from condlube.detection.response import HELD, RETURNED, responses
from condlube.detection.season import season, shared_warmth
from condlube.detection.series import of_quantity
from condlube.detection.slope import weekly_slopes
from condlube.detection.states import within
from condlube.detection.steady import averaged_share, steady
from condlube.detection.tracks import Tracks
from condlube.manipulation.expected import Models
from condlube.manipulation.kernel import Floats, Ints
from condlube.policy.model import Policy


def figures_of(
    rows: pd.DataFrame,
    points: pd.DataFrame,
    tracks: Tracks,
    models: Models,
    begins: list[list[Begin]],
    inspections: list[list[Begin]],
    policy: Policy,
) -> pd.DataFrame:
    """Figures of ``rows`` (point, day, track, row of each on its track), on the scale of comparison, same index.

    Nights that cannot be compared, and temperatures just after a greasing, are left out of every figure but the
    deviation itself.
    """
    detection = policy.detection
    point, night, track, row = (rows[c].to_numpy(dtype=np.int64) for c in ("point", "day", "track", "row"))
    quantity = points["quantity"].to_numpy(dtype=object)[point]
    reference = tracks.reference[track]
    spread = models.spread[reference]
    usable = tracks.usable
    day, residual = tracks.day[usable], tracks.residual[usable]
    hi, before = tracks.before[row + 1], tracks.before[row]
    oldest = within(tracks.track[usable], day, track, night - detection.window_days - 1) + 1
    lo = np.minimum(np.maximum(tracks.before[tracks.start[track]], oldest), hi)
    now, masked = tracks.residual[row], tracks.masked[row]
    uncertain = np.sqrt(spread**2 + tracks.variance[row])
    code, onset_day = onset(lo, hi, day, residual, uncertain, detection.raised_spreads, detection.abrupt_days)
    named = {
        name: points[of].astype("category").array[point]
        for name, of in (("collector", "collector"), ("bearing", "bearing_id"), ("quantity", "quantity"))
    }
    targets = pd.DataFrame({"night": night, "spread": spread, **named})
    share = shares(targets, lo, hi, day, residual, detection)
    step_share = of_quantity(detection.growth_step, points)[point]
    rise = growth(lo, hi, day, residual, uncertain, step_share, detection.growth_spreads, detection.growth_days)
    aim = of_quantity(detection.steady_spread, points)[point]
    most = np.where(points["route"].to_numpy()[point] | masked, 1, detection.steady_nights)
    level, averaged = steady(lo, before, day, residual, now, spread, aim, most)
    bare = (quantity == "temperature") & np.isnan(models.low[reference, 2])
    owed = np.where(bare, season(lo, before, day, residual, night, detection.season_k), 0.0)
    greased, greased_at = _last(point, night, begins, "relubrication")
    settled = (greased < 0) | (night - greased > policy.reference.settling_days)  # who was just greased is warm by that
    machine, bearing = (pd.factorize(points[name])[0][point] for name in ("machine_id", "bearing_id"))
    owed += shared_warmth(machine, night, bearing, level - owed, bare & settled, detection.season_k)
    limit, h = charts.limits(detection.ewma_lambda, detection.cusum_k, detection.in_control_nights)
    allowance = np.sqrt(tracks.variance[row])
    chart = charts.signals(
        lo, hi, residual, spread, allowance, models.correlation[reference], detection.ewma_lambda, limit,
        detection.cusum_k, h,
    )  # fmt: skip
    slope, slope_low, slope_high = weekly_slopes(lo, hi, day, residual, detection.slope_min_weeks)
    looked, _ = _last(point, night, inspections, "inspection")
    marked = marks(lo, hi, day, residual, night, greased, looked, detection)
    raised = of_quantity(detection.response_raised, points)[point]
    response = responses(
        lo, hi, day, residual, spread, greased, raised, detection.response_before_nights,
        detection.response_settle_days, detection.response_held, detection.response_back, detection.response_back_days,
        detection.response_worse_spreads,
    )  # fmt: skip
    returned = returns(point, lo, hi, day, residual, spread, night, raised, begins, detection)
    again = (returned >= MANY) & (response == HELD) & (night - greased <= detection.response_back_days)
    response = np.where(again, RETURNED, response)
    return pd.DataFrame({
        "residual": level - owed,
        "sd": np.sqrt(spread**2 * averaged_share(averaged, models.correlation[reference]) + tracks.variance[row]),
        "expected_level": tracks.observed[row] - now + owed,
        "season": owed,
        "averaged": averaged,
        "reference_spread": spread,
        "growth": np.where(masked, 0.0, rise),
        "onset_code": np.where(masked, 0, code),
        "onset_day": np.where(masked, -1, onset_day),
        "raised": (now >= detection.raised_spreads * uncertain) & ~masked,
        "chart": chart & ~masked & ((owed <= 0.0) | (level - owed >= detection.raised_spreads * spread)),
        "slope": slope,
        "slope_low": slope_low,
        "slope_high": slope_high,
        "share": share,
        "response_code": response,
        "response_to": greased_at,
        "cycles": returned,
        **{name: value - owed for name, value in marked.items()},
        "nights_over": _nights_over(tracks, track, row, night - detection.window_days, level, owed, spread),
    }, index=rows.index)  # fmt: skip


def _nights_over(
    tracks: Tracks, track: Ints, row: Ints, oldest: Ints, level: Floats, owed: Floats, spread: Floats
) -> Ints:
    """Persistence over all compared nights, those just after a greasing too: it tells how long, not how it began."""
    compared = np.flatnonzero(tracks.code == COMPARED)
    before = np.searchsorted(compared, row)
    first = within(tracks.track[compared], tracks.day[compared], track, oldest - 1) + 1
    first = np.maximum(first, np.searchsorted(compared, tracks.start[track]))
    return nights_over(np.minimum(first, before), before, tracks.residual[compared], level - owed, owed, spread)


def _last(point: Ints, night: Ints, begins: list[list[Begin]], kind: str) -> tuple[Ints, pd.Series]:
    """Day and instant of the last event of a kind of each point up to each night; -1 and NaT without one."""
    found = [(p, b.day, b.time) for p, events in enumerate(begins) for b in events if b.kind == kind]
    of, days = (np.array([f[k] for f in found], dtype=np.int64) for k in (0, 1))
    at = within(of, days, point, night)
    times = pd.Series([*(f[2] for f in found), pd.NaT], dtype="datetime64[us, UTC]")
    return np.append(days, -1)[at], times.iloc[at].array
