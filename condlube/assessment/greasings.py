"""Where the count of grease life begins, and the greasings since: from the register and the events."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt
import pandas as pd

from condlube.assessment.sources import FloatArray, IntArray
from condlube.lubrication.quantity import relubrication_quantity
from condlube.register.model import Site
from condlube.schema.nights import midnight

TimeArray = npt.NDArray[np.datetime64]
NEVER = np.datetime64("NaT", "us")
HOUR = np.timedelta64(3_600_000_000, "us")


@dataclass(frozen=True)
class Greasings:
    """When grease was put in; arrays over bearings.

    ``start`` is where x counts from 0: the last full greasing, replacement or register date; ``origin`` says which
    (greasing, replacement, register, assumed, unknown). ``last`` is when grease was last put in, full or not; NaT where
    none is recorded. ``dose_ratio`` is that dose over the calculated one, NaN where its grams are unknown.
    ``partial`` lists, earliest first, the greasings after ``start`` that did not renew all of the life: times and
    shares of x that they left, each an array over bearings with NaT and 1 where there is none.
    """

    start: TimeArray
    origin: npt.NDArray[np.object_]
    last: TimeArray
    dose_g: FloatArray
    dose_ratio: FloatArray
    last_grease: npt.NDArray[np.object_]
    partial: tuple[tuple[TimeArray, FloatArray], ...]


def standing(events: pd.DataFrame) -> pd.DataFrame:
    """Events that no later event replaces."""
    replaced = events["supersedes"].dropna()
    return events[~events["event_id"].isin(replaced)] if len(replaced) else events


def told_of(bearings: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """The events that still stand, with the position ``which`` of the bearing that each speaks of and its time
    ``when``. ``own`` is false where an event was recorded of the whole machine: it speaks of each of its bearings."""
    standing_ones = standing(events)
    ids = pd.DataFrame({"bearing_id": bearings["bearing_id"], "machine_id": bearings["machine_id"]})
    ids["which"] = np.arange(len(ids))
    named = standing_ones["bearing_id"].notna()
    own = standing_ones[named].merge(ids[["bearing_id", "which"]], on="bearing_id").assign(own=True)
    whole = standing_ones[~named].merge(ids[["machine_id", "which"]], on="machine_id").assign(own=False)
    told = pd.concat([own, whole], ignore_index=True)
    return told.assign(when=times(told["time"]))


def doses(bearings: pd.DataFrame) -> FloatArray:
    """Grease per relubrication (g): the manual's quantity, else from the dimensions."""
    calculated = relubrication_quantity(
        bearings["outside_diameter_mm"].to_numpy(dtype=np.float64),
        bearings["width_mm"].to_numpy(dtype=np.float64),
        bearings["entry"].to_numpy(dtype=object),
    )
    manual = bearings["manual_quantity_g"].to_numpy(dtype=np.float64, na_value=np.nan)
    return np.asarray(np.where(manual > 0, manual, calculated))


def greasings(bearings: pd.DataFrame, told: pd.DataFrame, failed: pd.DataFrame, site: Site) -> Greasings:
    """Read the greasings of every bearing.

    Parameters
    ----------
    bearings
        Register table, defaults filled in.
    told
        ``told_of`` of the events that are seen.
    failed
        Columns ``which`` and ``when``: greasings to which the bearing did not respond; they renew nothing.
    """
    dose = doses(bearings)
    told = told[told["own"].to_numpy(dtype=np.bool_)]
    start, origin = _register_start(bearings, site)
    replaced = told[told["kind"] == "replacement"]
    _latest(start, origin, replaced["which"].to_numpy(), replaced["when"].to_numpy(), "replacement")

    given = told[(told["kind"] == "relubrication") & ~(told["grease_g"] == 0)]
    code, time = given["which"].to_numpy(dtype=np.int64), given["when"].to_numpy()
    order = np.lexsort((given["event_id"].to_numpy(dtype=object).astype(str), time, code))
    given, code, time = given.iloc[order], code[order], time[order]
    after = ~(time < start[code])
    given, code, time = given.iloc[after], code[after], time[after]
    ratio = given["grease_g"].to_numpy(dtype=np.float64, na_value=np.nan) / dose[code]
    left = np.where(np.isnan(ratio), 0.0, 1.0 - np.minimum(ratio, 1.0))
    left[_responded_not(code, time, failed)] = 1.0
    full = left == 0.0
    _latest(start, origin, code[full], time[full], "greasing")

    n = len(bearings)
    last = np.full(n, NEVER)
    dose_ratio = np.full(n, np.nan)
    last_grease = np.full(n, None, dtype=object)
    last[code], dose_ratio[code] = time, ratio  # in order of time: the last one stays
    last_grease[code] = given["grease_id"].to_numpy(dtype=object)
    rest = (time > start[code]) & ~full
    partial = _rounds(n, code[rest], time[rest], left[rest])
    return Greasings(start, origin, last, dose, dose_ratio, last_grease, partial)


def _register_start(bearings: pd.DataFrame, site: Site) -> tuple[TimeArray, npt.NDArray[np.object_]]:
    dates = [pd.to_datetime(bearings[name]).to_numpy().astype("datetime64[D]") for name in ("commissioned", "mounted")]
    latest = np.fmax(*dates)
    origin = np.where(np.isnat(latest), "unknown", "register").astype(object)
    if site.assumed_last_greasing is not None:
        origin[np.isnat(latest)] = "assumed"
        latest = np.where(np.isnat(latest), np.datetime64(site.assumed_last_greasing, "D"), latest)
    days, position = np.unique(latest, return_inverse=True)
    instants = [NEVER if np.isnat(d) else instant(midnight(d.astype(object), site.zone)) for d in days]
    return np.array(instants, dtype="datetime64[us]")[position].reshape(latest.shape), origin


def _latest(start: TimeArray, origin: npt.NDArray[np.object_], code: IntArray, time: TimeArray, name: str) -> None:
    """Move ``start`` of bearings ``code`` to the latest of their times, in place."""
    for k, t in zip(code, time, strict=True):
        if not t < start[k]:
            start[k], origin[k] = t, name


def _responded_not(code: IntArray, time: TimeArray, failed: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Which of the greasings had no effect."""
    without = set(zip(failed["which"].tolist(), failed["when"].tolist(), strict=True))
    pairs = zip(code.tolist(), pd.Series(time).tolist(), strict=True)
    return np.array([pair in without for pair in pairs], dtype=np.bool_)


def _rounds(n: int, code: IntArray, time: TimeArray, left: FloatArray) -> tuple[tuple[TimeArray, FloatArray], ...]:
    """The first, second, ... of each bearing's greasings, each as arrays over bearings."""
    turn = pd.Series(code).groupby(code).cumcount().to_numpy()
    made = []
    for k in range(int(turn.max()) + 1 if len(turn) else 0):
        times, shares = np.full(n, NEVER), np.ones(n)
        times[code[turn == k]], shares[code[turn == k]] = time[turn == k], left[turn == k]
        made.append((times, shares))
    return tuple(made)


def times(column: pd.Series) -> TimeArray:
    """UTC instants without the zone mark."""
    return np.asarray(pd.to_datetime(column, utc=True).dt.tz_localize(None).to_numpy().astype("datetime64[us]"))


def instant(moment: datetime) -> np.datetime64:
    """A UTC moment without its zone mark."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")
